// Package picture takes in a picture that came over the network, as bytes that
// nobody vouches for, and gives back one that is a picture and nothing else.
//
// A picture may be 1 MB of JPEG or PNG and 4 megapixels. What its head says is
// looked at before anything is unpacked, so that memory stays within 16 bytes a
// pixel that is allowed, whatever the bytes unpack to. Then it is decoded whole and
// encoded again as JPEG: where it was taken, by which camera, and whatever else
// travelled with it (a script, another file behind its end) stays behind.
package picture

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
)

// What a picture may be.
const (
	MostBytes  = 1 << 20
	MostPixels = 4_000_000
	mostSide   = 8_000
	leastSide  = 50
)

// Picture is a clean one: JPEG, at most [MostBytes].
type Picture struct {
	JPEG          []byte
	Width, Height int
}

// Why one is refused, for whoever branches on it; what [Take] says has more.
var (
	ErrTooLarge = errors.New("the picture is too large")
	ErrKind     = errors.New("this is no JPEG or PNG")
	ErrBroken   = errors.New("the picture does not read")
)

// Take makes a clean picture of bytes. An error says what to do.
func Take(b []byte) (p Picture, err error) {
	if len(b) > MostBytes {
		return p, fmt.Errorf("%w: %d kB, and 1024 kB is the most: make it smaller, 2 megapixels are enough", ErrTooLarge, len(b)>>10)
	}
	var head func([]byte) (image.Config, error)
	var whole func([]byte) (image.Image, error)
	switch {
	case bytes.HasPrefix(b, []byte("\xff\xd8\xff")):
		head = func(b []byte) (image.Config, error) { return jpeg.DecodeConfig(bytes.NewReader(b)) }
		whole = func(b []byte) (image.Image, error) { return jpeg.Decode(bytes.NewReader(b)) }
	case bytes.HasPrefix(b, []byte("\x89PNG\r\n\x1a\n")):
		head = func(b []byte) (image.Config, error) { return png.DecodeConfig(bytes.NewReader(b)) }
		whole = func(b []byte) (image.Image, error) { return png.Decode(bytes.NewReader(b)) }
	default:
		return p, fmt.Errorf("%w: take the photograph as JPEG or PNG", ErrKind)
	}
	c, err := head(b)
	if err != nil {
		return p, fmt.Errorf("%w (%v): take it again, or send it again", ErrBroken, err)
	}
	if c.Width < leastSide || c.Height < leastSide {
		return p, fmt.Errorf("%w: it has %d by %d pixels, too few to mark anything in", ErrBroken, c.Width, c.Height)
	}
	if c.Width > mostSide || c.Height > mostSide || c.Width*c.Height > MostPixels {
		return p, fmt.Errorf("%w: %d by %d pixels, and 4 megapixels are the most: make it smaller, 2 are enough", ErrTooLarge, c.Width, c.Height)
	}
	img, err := whole(b)
	if err != nil {
		return p, fmt.Errorf("%w (%v): it broke off or was damaged on the way; take it again, or send it again", ErrBroken, err)
	}
	p.Width, p.Height = c.Width, c.Height
	// What can be seen through is white, as on the page.
	flat := image.NewRGBA(image.Rect(0, 0, p.Width, p.Height))
	draw.Draw(flat, flat.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(flat, flat.Bounds(), img, img.Bounds().Min, draw.Over)
	for _, quality := range []int{90, 75, 50, 25} {
		var out bytes.Buffer
		if err := jpeg.Encode(&out, flat, &jpeg.Options{Quality: quality}); err != nil {
			return p, fmt.Errorf("%w (%v)", ErrBroken, err)
		}
		if p.JPEG = out.Bytes(); len(p.JPEG) <= MostBytes {
			return p, nil
		}
	}
	return p, fmt.Errorf("%w: it does not go into 1024 kB: make it smaller, 2 megapixels are enough", ErrTooLarge)
}

// Small is a clean picture scaled to at most so many pixels a side, as JPEG, by the
// mean of the pixels that fall into each of its own. It is for print: no mark is
// made in it.
func Small(clean []byte, side int) ([]byte, error) {
	img, err := jpeg.Decode(bytes.NewReader(clean))
	if err != nil {
		return nil, fmt.Errorf("%w (%v)", ErrBroken, err)
	}
	from := img.Bounds()
	k := max(1, (max(from.Dx(), from.Dy())+side-1)/side)
	w, h := max(1, from.Dx()/k), max(1, from.Dy()/k)
	flat := image.NewRGBA(image.Rect(0, 0, from.Dx(), from.Dy()))
	draw.Draw(flat, flat.Bounds(), img, from.Min, draw.Src)
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var sum [3]int
			n := 0
			for dy := range min(k, flat.Rect.Dy()-y*k) {
				for dx := range min(k, flat.Rect.Dx()-x*k) {
					at := flat.PixOffset(x*k+dx, y*k+dy)
					for c := range sum {
						sum[c] += int(flat.Pix[at+c])
					}
					n++
				}
			}
			at := out.PixOffset(x, y)
			for c := range sum {
				out.Pix[at+c] = uint8(sum[c] / n)
			}
			out.Pix[at+3] = 255
		}
	}
	var b bytes.Buffer
	err = jpeg.Encode(&b, out, &jpeg.Options{Quality: 75})
	return b.Bytes(), err
}
