package picture

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func drawn(w, h int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for x := range w {
		for y := range h {
			img.Set(x, y, color.RGBA{uint8(x), uint8(y), 90, 255})
		}
	}
	return img
}

func asPNG(t *testing.T, img image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

func asJPEG(t *testing.T, img image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, img, nil))
	return b.Bytes()
}

// chunk is one of a PNG (ISO/IEC 15948, 5.3): length, kind, data, checksum.
func chunk(kind string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// headed is a PNG whose head says a size, and whose data unpack to so many bytes.
func headed(w, h uint32, unpacked int) []byte {
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, w), h)
	var data bytes.Buffer
	z, _ := zlib.NewWriterLevel(&data, zlib.BestSpeed)
	zeros := make([]byte, 1<<16)
	for range unpacked >> 16 {
		z.Write(zeros)
	}
	z.Close()
	b := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, 8, 2, 0, 0, 0))...)
	return append(append(b, chunk("IDAT", data.Bytes())...), chunk("IEND", nil)...)
}

func TestGoodPictures(t *testing.T) {
	for _, b := range [][]byte{asPNG(t, drawn(300, 200)), asJPEG(t, drawn(300, 200))} {
		p, err := Take(b)
		require.NoError(t, err)
		assert.Equal(t, [2]int{300, 200}, [2]int{p.Width, p.Height})
		img, kind, err := image.Decode(bytes.NewReader(p.JPEG))
		require.NoError(t, err)
		assert.Equal(t, "jpeg", kind)
		assert.Equal(t, 300, img.Bounds().Dx())
	}
}

// What travels with a picture stays behind: a comment, a text, a file at its end.
func TestNothingTravelsAlong(t *testing.T) {
	const script = "<script>alert(1)</script>"
	j := asJPEG(t, drawn(100, 100))
	comment := append([]byte{0xff, 0xd8, 0xff, 0xfe, 0, byte(len(script) + 2)}, script...)
	for _, b := range [][]byte{
		append(append(comment, j[2:]...), script...),
		append(asPNG(t, drawn(100, 100)), script...),
	} {
		require.Contains(t, string(b), script)
		p, err := Take(b)
		require.NoError(t, err)
		assert.NotContains(t, string(p.JPEG), "script")
	}
}

func TestWhatIsRefused(t *testing.T) {
	whole := asPNG(t, drawn(400, 400))
	j := asJPEG(t, drawn(400, 400))
	for _, c := range []struct {
		name string
		b    []byte
		is   error
		says string
	}{
		{"100 megapixels", headed(10_000, 10_000, 0), ErrTooLarge, "10000 by 10000 pixels, and 4 megapixels are the most"},
		{"more than can be counted", headed(1<<31-1, 1<<31-1, 0), nil, "take it again"},
		{"a hundred times what its head says", headed(400, 400, 96<<20), nil, ""},
		{"truncated PNG", whole[:len(whole)/2], ErrBroken, "take it again"},
		{"truncated JPEG", j[:len(j)/2], ErrBroken, "take it again"},
		{"only a head", j[:12], ErrBroken, "take it again"},
		{"a drawing with a script", []byte(`<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>`), ErrKind, "JPEG or PNG"},
		{"a page", []byte("<html>"), ErrKind, "JPEG or PNG"},
		{"nothing", nil, ErrKind, "JPEG or PNG"},
		{"2 MB", make([]byte, 2<<20), ErrTooLarge, "1024 kB is the most"},
		{"a dot", asPNG(t, drawn(1, 1)), ErrBroken, "too few"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Take(c.b)
		runtime.ReadMemStats(&after)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(16*MostPixels), c.name)
		if c.name == "a hundred times what its head says" {
			continue // it may be taken: what is too much is never unpacked
		}
		if assert.Error(t, err, c.name) {
			assert.Contains(t, err.Error(), c.says, c.name)
			assert.NotContains(t, err.Error(), "\n")
			if c.is != nil {
				assert.ErrorIs(t, err, c.is, c.name)
			}
		}
	}
}

func FuzzTake(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff"))
	f.Add(headed(60, 60, 1<<16))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := Take(b)
		if err == nil {
			require.LessOrEqual(t, len(p.JPEG), MostBytes)
			require.LessOrEqual(t, p.Width*p.Height, MostPixels)
		}
	})
}

// A picture for print keeps its shape and the mean of its colours.
func TestSmall(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 1000, 400))
	for i := range img.Pix {
		img.Pix[i] = 200
	}
	p, err := Take(asPNG(t, img))
	require.NoError(t, err)
	b, err := Small(p.JPEG, 250)
	require.NoError(t, err)
	small, _, err := image.Decode(bytes.NewReader(b))
	require.NoError(t, err)
	assert.Equal(t, image.Pt(250, 100), small.Bounds().Size())
	big, _, err := image.Decode(bytes.NewReader(p.JPEG))
	require.NoError(t, err)
	want, _, _, _ := big.At(500, 200).RGBA()
	got, _, _, _ := small.At(125, 50).RGBA()
	assert.InDelta(t, want>>8, got>>8, 3)
	same, err := Small(p.JPEG, 2000)
	require.NoError(t, err)
	c, _, err := image.DecodeConfig(bytes.NewReader(same))
	require.NoError(t, err)
	assert.Equal(t, 1000, c.Width, "nothing is made larger")
	_, err = Small(p.JPEG[:50], 250)
	assert.ErrorIs(t, err, ErrBroken)
}
