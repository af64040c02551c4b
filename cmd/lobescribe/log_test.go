package main

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLog(t *testing.T) {
	for _, c := range []struct {
		words []string
		lines int // of an event at each level
	}{
		{nil, 2}, {[]string{"--log-level", "error"}, 1}, {[]string{"--log-level", "info"}, 3}, {[]string{"--log-level", "debug"}, 4},
	} {
		cmd := typed(t, append([]string{"traces", "--log-format", "json"}, c.words...)...)
		var to bytes.Buffer
		cmd.SetErr(&to)
		log := logger(cmd)
		log.Debug("asked", "port", "x")
		log.Info("opened", "port", "x")
		log.Warn("slow", "port", "x")
		log.Error("lost", "port", "x")
		lines := bytes.Split(bytes.TrimSpace(to.Bytes()), []byte("\n"))
		assert.Len(t, lines, c.lines, "%v: %s", c.words, &to)
		var last struct {
			Time  time.Time
			Level string
			Msg   string
			Port  string
		}
		require.NoError(t, json.Unmarshal(lines[len(lines)-1], &last))
		assert.WithinDuration(t, time.Now(), last.Time, time.Hour)
		assert.Equal(t, []string{"ERROR", "lost", "x"}, []string{last.Level, last.Msg, last.Port})
	}

	cmd := typed(t, "traces")
	var to bytes.Buffer
	cmd.SetErr(&to)
	logger(cmd).Error("lost", "port", "x")
	assert.Regexp(t, `^time=\S+ level=ERROR msg=lost port=x\n$`, to.String())
}
