package sheet_test

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/draw"
	"image/png"
	"regexp"
	"strconv"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"proofload/specdata"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// The image on paper and on the screen is a QR code that another program's decoder
// (gozxing, a port of ZXing) reads as the address of the check.
func TestQRCodeIsReadByAnother(t *testing.T) {
	const link = "https://torque.workshop.example/checks/PL-HGGG-G0HG-GGG0-W9JG-Q03R-W16V"
	s, err := sheet.New(demoLibrary(t), sheet.Request{
		Procedure: "quill-1-rear-hub-bearing", Side: specdata.SideLeft, Printed: "2026-11-25", Moment: whom.Moment{Position: 1}, CheckCode: "PL-HGGG-G0HG-GGG0-W9JG-Q03R-W16V", CheckURL: link,
	})
	if err != nil {
		t.Fatal(err)
	}
	var page, paper bytes.Buffer
	if err := s.HTML(&page); err != nil {
		t.Fatal(err)
	}
	if got := scan(t, fromHTML(t, page.Bytes())); got != link {
		t.Errorf("the code on the page reads %q", got)
	}
	for _, size := range []sheet.Paper{sheet.A4, sheet.Letter} {
		paper.Reset()
		if err := s.PDF(&paper, size); err != nil {
			t.Fatal(err)
		}
		if got := scan(t, fromPDF(t, paper.Bytes())); got != link {
			t.Errorf("the code on %s paper reads %q", size, got)
		}
	}
}

// scan reads a QR code as a camera sees it: on white paper.
func scan(t *testing.T, code image.Image) string {
	t.Helper()
	const margin = 40
	b := code.Bounds()
	paper := image.NewGray(image.Rect(0, 0, b.Dx()+2*margin, b.Dy()+2*margin))
	draw.Draw(paper, paper.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(paper, b.Sub(b.Min).Add(image.Pt(margin, margin)), code, b.Min, draw.Src)
	bitmap, err := gozxing.NewBinaryBitmapFromImage(paper)
	if err != nil {
		t.Fatal(err)
	}
	read, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
	if err != nil {
		t.Fatal(err)
	}
	return read.GetText()
}

func fromHTML(t *testing.T, page []byte) image.Image {
	t.Helper()
	m := regexp.MustCompile(`src="data:image/png;base64,([^"]+)"`).FindSubmatch(page)
	if m == nil {
		t.Fatal("page has no image")
	}
	// The template escapes the plus signs of base64 for HTML.
	b, err := base64.StdEncoding.DecodeString(string(bytes.ReplaceAll(m[1], []byte("&#43;"), []byte("+"))))
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// fromPDF takes the image out of a PDF (ISO 32000-1, 7.4.4.4 and 8.9.5): with PNG
// predictors its data are those of a PNG file.
func fromPDF(t *testing.T, pdf []byte) image.Image {
	t.Helper()
	m := regexp.MustCompile(`(?s)/Subtype /Image\s+/Width (\d+)\s+/Height (\d+)\s+/ColorSpace /DeviceGray\s+/BitsPerComponent (\d+)\s.*?/Predictor 15.*?/Length (\d+)>>\s+stream\n`).FindSubmatchIndex(pdf)
	if m == nil {
		t.Fatal("PDF has no grey image")
	}
	number := func(i int) uint32 {
		n, err := strconv.ParseUint(string(pdf[m[2*i]:m[2*i+1]]), 10, 32)
		if err != nil {
			t.Fatal(err)
		}
		return uint32(n)
	}
	data := pdf[m[1] : m[1]+int(number(4))]
	var out bytes.Buffer
	out.WriteString("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, body []byte) {
		out.Write(binary.BigEndian.AppendUint32(nil, uint32(len(body))))
		body = append([]byte(kind), body...)
		out.Write(body)
		out.Write(binary.BigEndian.AppendUint32(nil, crc32.ChecksumIEEE(body)))
	}
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, number(1)), number(2))
	chunk("IHDR", append(head, byte(number(3)), 0, 0, 0, 0))
	chunk("IDAT", data)
	chunk("IEND", nil)
	img, err := png.Decode(&out)
	if err != nil {
		t.Fatal(err)
	}
	return img
}
