package dashboard

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"image"
	_ "image/jpeg"
	"image/png"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/rocker/photo"
	"lobescribe/storage"
)

func TestPhotographs(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("POST", "/api/v1/engines", demoEngine)
	id := into[storage.Engine](s, text).ID
	status, text := s.ask("POST", "/api/v1/engines/"+id+"/trials", `{"valve":"1I","max_lift_mm":12}`)
	require.Equal(t, 201, status, text)
	trial := into[storage.Trial](s, text)
	path := "/api/v1/trials/" + trial.ID

	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewGray(image.Rect(0, 0, 1600, 1600))))
	send := func(picture []byte, marks string) string {
		return fmt.Sprintf(`{"picture":%q,"marks":%s}`, base64.StdEncoding.EncodeToString(picture), marks)
	}
	status, text = s.ask("POST", path+"/photographs", send(b.Bytes(), `{}`))
	require.Equal(t, 201, status, text)
	one := into[storage.Photograph](s, text)
	assert.Equal(t, 1600, one.Width)
	assert.Empty(t, one.JPEG, "the picture has an address of its own")

	put := func(marks string) (int, string) {
		return s.ask("PUT", "/api/v1/photographs/"+one.ID, fmt.Sprintf(`{"rev":%d,"marks":%s}`, one.Rev, marks))
	}
	// 600 pixels, 52.3 below the pivot's level: 5 degrees.
	status, text = put(`{"at_lift_mm":6,"stem_a_px":[[800,820]],"stem_b_px":[[800,1420]],"pivot_px":[[202.28,747.7]],"tip_px":[[800,800]]}`)
	require.Equal(t, 200, status, text)
	one = into[storage.Photograph](s, text)
	status, text = s.ask("GET", path+"/photo", "")
	require.Equal(t, 200, status, text)
	assert.InDelta(t, 5, into[photo.Answer](s, text).HalfAngle.Degrees(), 0.001)

	status, text = put(`{"tip":[[1,2]]}`)
	assert.Equal(t, 400, status)
	assert.Contains(t, text, "is not a field here")
	for name, c := range map[string]struct {
		picture []byte
		says    string
	}{
		"truncated":  {b.Bytes()[:200], "take it again"},
		"a script":   {[]byte(`<svg><script/></svg>`), "JPEG or PNG"},
		"no picture": {nil, "JPEG or PNG"},
	} {
		status, text := s.ask("POST", path+"/photographs", send(c.picture, `{}`))
		assert.Equal(t, 400, status, name)
		assert.Contains(t, text, c.says, name)
	}
	_, text = s.ask("GET", path+"/photographs", "")
	assert.Len(t, into[[]storage.Photograph](s, text), 1, "what was refused is not kept, what was kept is not lost")

	status, text = s.ask("GET", "/api/v1/photographs/"+one.ID+"/picture", "")
	assert.Equal(t, 200, status)
	_, kind, err := image.DecodeConfig(bytes.NewReader([]byte(text)))
	require.NoError(t, err)
	assert.Equal(t, "jpeg", kind)
	status, _ = s.ask("DELETE", fmt.Sprintf("/api/v1/photographs/%s?rev=%d", one.ID, one.Rev), "")
	assert.Equal(t, 204, status)
	status, text = s.ask("GET", path+"/photo", "")
	assert.Equal(t, 400, status)
	assert.Contains(t, text, "no marks yet")
}
