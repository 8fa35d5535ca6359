package sheet

import (
	"bytes"
	"fmt"
	"image/png"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"

	"proofload/specdata/whom"
)

// Paper is a size of paper.
type Paper string

// The papers a sheet fits.
const (
	A4     Paper = "A4"
	Letter Paper = "letter"
)

// PDF writes the sheet as PDF. The same sheet gives the same bytes. It fails for
// an unknown paper or when w does.
func (s *Sheet) PDF(w io.Writer, paper Paper) error {
	if paper != A4 && paper != Letter {
		return fmt.Errorf("paper %q is unknown; allowed: A4, letter", paper)
	}
	f := fpdf.New("P", "mm", strings.ToUpper(string(paper[:1]))+string(paper[1:]), "")
	p := &printer{f: f, to: f.UnicodeTranslatorFromDescriptor("cp1252")}
	f.SetMargins(12, 12, 12)
	f.SetTitle(s.Title, true)
	f.SetCreator("proofload", true)
	f.SetCatalogSort(true)
	// The day of printing is the only date in the file, so that two prints of one
	// sheet on one day are the same bytes.
	day, err := s.Printed.Time()
	if err != nil {
		day = time.Unix(0, 0).UTC()
	}
	f.SetCreationDate(day)
	f.SetModificationDate(day)
	f.AliasNbPages("")
	p.width, p.high = f.GetPageSize()
	p.width -= 24
	p.font("", footSize)
	for _, line := range s.Foot() {
		p.foot = append(p.foot, f.SplitText(p.to(line), p.width)...)
	}
	p.margin = float64(len(p.foot)+1)*footLine + 8
	f.SetAutoPageBreak(true, p.margin)
	f.SetFooterFunc(p.footer)
	f.AddPage()
	p.sheet(s)
	return f.Output(w)
}

// printer writes parts of a sheet. Errors stick in fpdf until Output gives them.
type printer struct {
	f     *fpdf.Fpdf
	to    func(string) string
	width float64
	high  float64
	// foot is what stands at the foot of every page, margin the room for it.
	foot   []string
	margin float64
}

const footSize, footLine = 7, 3.2

// Foot says at the foot of every page what the page is for, so that a page that got
// loose from its sheet is not taken for another's.
func (s *Sheet) Foot() []string {
	lines := s.For.Lines()
	record := []string{string(s.Procedure)}
	for _, w := range []string{s.For.Moment().Short(), s.CheckCode} {
		if w != "" {
			record = append(record, w)
		}
	}
	return []string{lines[0], lines[1], strings.Join(append(record, "printed "+string(s.Printed)), " · ")}
}

func (p *printer) footer() {
	p.f.SetY(-p.margin + 4)
	p.font("", footSize)
	for _, line := range p.foot {
		p.f.CellFormat(0, footLine, line, "", 2, "C", false, 0, "")
	}
	p.f.CellFormat(0, footLine, fmt.Sprintf("page %d of {nb}", p.f.PageNo()), "", 0, "C", false, 0, "")
}

func (p *printer) font(style string, size float64) { p.f.SetFont("Helvetica", style, size) }

func (p *printer) text(style string, size float64, s string) {
	p.font(style, size)
	p.f.MultiCell(0, size*0.5, p.to(s), "", "L", false)
}

func (p *printer) heading(s string) {
	p.room(20)
	p.f.Ln(3)
	p.text("B", 12, s)
	y := p.f.GetY()
	p.f.SetLineWidth(0.5)
	p.f.Line(12, y, 12+p.width, y)
	p.f.SetLineWidth(0.2)
	p.f.Ln(1.5)
}

// room starts a new page when less than h millimetres are left.
func (p *printer) room(h float64) {
	if p.f.GetY()+h > p.high-p.margin {
		p.f.AddPage()
	}
}

func (p *printer) caution(c Caution) {
	p.font("", 9.5)
	lines := len(p.f.SplitText(p.to(c.Signal+"  "+c.Text), p.width-6))
	p.room(float64(lines)*4.8 + 3)
	y := p.f.GetY()
	p.f.SetX(16)
	p.font("B", 9.5)
	p.f.Write(4.8, p.to(c.Signal+"  "))
	p.font("", 9.5)
	p.f.SetLeftMargin(16)
	p.f.Write(4.8, p.to(c.Text))
	p.f.SetLeftMargin(12)
	p.f.Ln(6)
	p.f.SetFillColor(17, 17, 17)
	p.f.Rect(12, y, 1.6, p.f.GetY()-y-1, "F")
}

func (p *printer) sheet(s *Sheet) {
	p.text("B", 17, s.Title)
	p.old(s.For.Moment())
	p.forWhom(s.For)
	record := string(s.Procedure)
	if m := s.For.Moment().Short(); m != "" {
		record += ", " + m
	}
	p.text("", 9, record+", printed "+string(s.Printed)+"; "+s.Proved)
	if s.Hash != "" {
		p.text("", 7.5, "SHA-256 "+s.Hash)
	}
	p.f.Ln(1)
	p.check(s)
	for _, c := range s.Cautions {
		p.caution(c)
	}
	p.caution(Caution{"NOTICE", s.Notice}) // last: the worst is read first
	p.heading("Tightening, in order of use")
	p.torques(s.Torques)
	p.heading("Lay out before you start")
	p.list("New parts", s.Parts)
	p.list("Sockets, bits and keys", s.Drives)
	p.list("Tools", s.Tools)
	p.list("Used up", s.Supplies)
	p.heading("Steps")
	for _, st := range s.Steps {
		p.step(st)
	}
	if len(s.Owed) > 0 {
		p.heading("Owed after the job")
		p.list("", s.Owed)
	}
	p.heading("Signed")
	p.signed()
}

// old prints white on black that the values are of an old moment, and what they are now.
func (p *printer) old(m whom.Moment) {
	if !m.Old() {
		return
	}
	p.f.Ln(1)
	p.f.SetFillColor(17, 17, 17)
	p.f.SetTextColor(255, 255, 255)
	p.font("B", 12)
	p.f.MultiCell(p.width, 6, p.to(m.Banner()), "", "L", true)
	p.font("", 9.5)
	for _, c := range m.Changed {
		p.f.MultiCell(p.width, 4.8, p.to(c), "", "L", true)
	}
	p.f.SetTextColor(0, 0, 0)
	p.f.Ln(1.5)
}

// forWhom prints the box under the title that says what the sheet is for.
func (p *printer) forWhom(f whom.For) {
	y := p.f.GetY() + 1
	p.f.SetXY(15, y+1.5)
	p.f.SetLeftMargin(15)
	p.font("B", 12)
	p.f.MultiCell(p.width-6, 5.6, p.to(f.Lines()[0]), "", "L", false)
	p.font("B", 9.5)
	p.f.MultiCell(p.width-6, 4.6, p.to(f.Lines()[1]), "", "L", false)
	p.f.SetLeftMargin(12)
	p.f.SetLineWidth(0.6)
	p.f.Rect(12, y, p.width, p.f.GetY()-y+1.5, "D")
	p.f.SetLineWidth(0.2)
	p.f.SetXY(12, p.f.GetY()+3)
}

// check prints the code that tells whether the sheet still holds.
func (p *printer) check(s *Sheet) {
	if s.CheckCode == "" {
		return
	}
	img, err := qrPNG(s.CheckURL)
	if err != nil {
		p.f.SetError(err)
		return
	}
	y := p.f.GetY()
	if img != nil {
		p.f.RegisterImageOptionsReader("qr", fpdf.ImageOptions{ImageType: "png"}, bytes.NewReader(img))
		p.f.ImageOptions("qr", 12, y, 24, 24, false, fpdf.ImageOptions{ImageType: "png"}, 0, "")
	}
	p.f.SetXY(40, y+5)
	p.font("B", 11)
	p.f.CellFormat(0, 6, p.to("Does this sheet still hold? Code "+s.CheckCode), "", 2, "L", false, 0, "")
	p.font("", 8.5)
	p.f.CellFormat(0, 5, p.to(s.CheckURL), "", 2, "L", false, 0, "")
	p.f.SetXY(12, y+26)
}

// columns of the torque table, in shares of the width.
var columns = []struct {
	title string
	share float64
}{{"#", .04}, {"Step", .055}, {"Fastener", .27}, {"Value", .25}, {"Conditions", .255}, {"Reached, initials", .13}}

func (p *printer) torques(rows []Row) {
	p.tableHead()
	for _, r := range rows {
		cells := [][]string{
			{fmt.Sprint(r.Number)}, {fmt.Sprint(r.Step)}, nonEmpty(r.What, r.Tool, r.Source), nonEmpty(r.Value, r.Stage, accept(r.Band)), r.Notes, {""},
		}
		p.row(cells)
	}
}

func accept(band string) string {
	if band == "" {
		return ""
	}
	return "accept " + band
}

func nonEmpty(xs ...string) []string {
	var out []string
	for _, x := range xs {
		if x != "" {
			out = append(out, x)
		}
	}
	return out
}

func (p *printer) tableHead() {
	p.font("B", 8)
	p.f.SetFillColor(235, 235, 235)
	for _, c := range columns {
		p.f.CellFormat(c.share*p.width, 5, p.to(c.title), "1", 0, "L", true, 0, "")
	}
	p.f.Ln(-1)
}

// row writes a table row: the first line of a cell larger where it is the value, the rest small.
func (p *printer) row(cells [][]string) {
	style := func(col, line int) (string, float64) {
		switch {
		case line > 0 && col != 4:
			return "", 7.5
		case col == 3:
			return "B", 11.5
		case col == 4:
			return "", 8
		}
		return "", 9.5
	}
	height := 9.0
	for i, lines := range cells {
		h := 2.0
		for j, l := range lines {
			st, size := style(i, j)
			p.font(st, size)
			h += float64(max(1, len(p.f.SplitText(p.to(l), columns[i].share*p.width-2)))) * size * 0.45
		}
		height = max(height, h)
	}
	if p.f.GetY()+height > p.high-p.margin {
		p.f.AddPage()
		p.tableHead()
	}
	x, y := 12.0, p.f.GetY()
	for i, lines := range cells {
		w := columns[i].share * p.width
		p.f.Rect(x, y, w, height, "D")
		p.f.SetXY(x, y+1)
		for j, l := range lines {
			st, size := style(i, j)
			p.font(st, size)
			p.f.SetX(x)
			p.f.MultiCell(w, size*0.45, p.to(l), "", "L", false)
		}
		x += w
	}
	p.f.SetXY(12, y+height)
}

func (p *printer) list(title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	p.room(12)
	if title != "" {
		p.text("B", 10, title)
	}
	for _, l := range lines {
		p.f.SetX(14)
		p.font("", 9.5)
		p.f.MultiCell(p.width-4, 4.6, p.to("• "+l), "", "L", false)
	}
	p.f.Ln(1)
}

func (p *printer) step(st Step) {
	p.font("", 10)
	body := st.Text
	if st.Side != "" {
		body = st.Side + ": " + body
	}
	for _, a := range st.Accept {
		body += "\nAccept: " + a
	}
	if st.Measured {
		body += "\nMeasured: ______________________"
	}
	lines := len(p.f.SplitText(p.to(body), p.width-34)) + len(st.Accept) + 1
	height := float64(lines) * 5
	for _, c := range st.Cautions {
		height += float64(len(p.f.SplitText(p.to(c.Text), p.width-10))+1) * 4.8
	}
	p.room(height + 3)
	for _, c := range st.Cautions {
		p.caution(c)
	}
	y := p.f.GetY()
	p.font("B", 10)
	p.f.SetXY(12, y)
	p.f.CellFormat(9, 5, fmt.Sprint(st.Number), "", 0, "L", false, 0, "")
	p.font("", 10)
	p.f.SetXY(21, y)
	p.f.MultiCell(p.width-30, 5, p.to(body), "", "L", false)
	end := p.f.GetY()
	p.f.Line(12+p.width-19, y+5, 12+p.width, y+5)
	p.f.SetDrawColor(170, 170, 170)
	p.f.Line(12, end+1, 12+p.width, end+1)
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetY(end + 2)
}

func (p *printer) signed() {
	p.room(20)
	titles := []string{"Vehicle number", "Mileage", "Wrench numbers", "Done by, date", "Checked by, date"}
	p.font("B", 8)
	for _, t := range titles {
		p.f.CellFormat(p.width/5, 5, p.to(t), "1", 0, "L", false, 0, "")
	}
	p.f.Ln(-1)
	for range titles {
		p.f.CellFormat(p.width/5, 12, "", "1", 0, "L", false, 0, "")
	}
	p.f.Ln(-1)
}

// qrPNG gives the QR code of a link, nil for none.
func qrPNG(link string) ([]byte, error) {
	if link == "" {
		return nil, nil
	}
	code, err := qr.Encode(link, qr.M, qr.Auto)
	if err != nil {
		return nil, fmt.Errorf("link %q does not fit a QR code: %w", link, err)
	}
	side := code.Bounds().Dx() * 6
	code, err = barcode.Scale(code, side, side)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := png.Encode(&b, code); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
