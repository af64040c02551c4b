package bytelog

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func recording(t *testing.T, lines int) string {
	t.Helper()
	var b bytes.Buffer
	w := NewWriter(&b, "")
	for i := range lines {
		require.NoError(t, w.Bytes(measure.Stamp(i)*100*measure.Millisecond, fmt.Appendf(nil, "%d.5 mm\r\n", i)))
	}
	require.NoError(t, w.Mark(measure.Stamp(lines)*100*measure.Millisecond, Lost))
	require.NoError(t, w.Flush())
	return b.String()
}

func reader(t *testing.T, text string) *Reader {
	t.Helper()
	r, err := NewReader(strings.NewReader(text))
	require.NoError(t, err)
	return r
}

func TestPlayKeepsTheTimes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		var got bytes.Buffer
		var marks []Kind
		var lostAt time.Duration
		p := Player{Speed: 2, Mark: func(k Kind) error {
			marks, lostAt = append(marks, k), time.Since(start)
			return nil
		}}
		require.NoError(t, p.Play(t.Context(), reader(t, recording(t, 10)), &got))
		assert.Equal(t, []Kind{Lost}, marks)
		assert.Equal(t, 500*time.Millisecond, lostAt, "a second at twice the speed")
		assert.Contains(t, got.String(), "9.5 mm\r\n")

		ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
		defer cancel()
		err := Player{}.Play(ctx, reader(t, recording(t, 10)), &got)
		assert.ErrorIs(t, err, context.DeadlineExceeded)
	})
}

func TestHostilePlayKeepsEveryLine(t *testing.T) {
	var got bytes.Buffer
	p := Player{Speed: -1, Hostile: rand.New(rand.NewPCG(1, 2))}
	require.NoError(t, p.Play(t.Context(), reader(t, recording(t, 200)), &got))
	lines := strings.Split(got.String(), "\r\n")
	assert.Greater(t, len(lines), 201, "something was put in")
	for i := range 200 {
		assert.Contains(t, lines, fmt.Sprintf("%d.5 mm", i))
	}
	again := got.String()
	got.Reset()
	p.Hostile = rand.New(rand.NewPCG(1, 2))
	require.NoError(t, p.Play(t.Context(), reader(t, recording(t, 200)), &got))
	assert.Equal(t, again, got.String(), "the same seed does the same")
}
