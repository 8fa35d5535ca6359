package sheet

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"
)

// quiet is the margin that a QR code needs around it, in modules (ISO/IEC 18004).
const quiet = 4

// qrPNG returns the QR code of a link with its quiet zone, nil for none.
func qrPNG(link string) ([]byte, error) {
	if link == "" {
		return nil, nil
	}
	code, err := qr.Encode(link, qr.M, qr.Auto)
	if err != nil {
		return nil, fmt.Errorf("link %q does not fit a QR code: %w", link, err)
	}
	const module = 6
	side := code.Bounds().Dx() * module
	code, err = barcode.Scale(code, side, side)
	if err != nil {
		return nil, err
	}
	framed := image.NewGray(image.Rect(0, 0, side+2*quiet*module, side+2*quiet*module))
	draw.Draw(framed, framed.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.Draw(framed, code.Bounds().Add(image.Pt(quiet*module, quiet*module)), code, code.Bounds().Min, draw.Src)
	var b bytes.Buffer
	if err := png.Encode(&b, framed); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
