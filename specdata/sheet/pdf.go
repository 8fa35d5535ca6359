package sheet

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"

	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// Paper is a size of paper.
type Paper string

// The papers a sheet fits.
const (
	A4     Paper = "A4"
	Letter Paper = "letter"
)

// edge is the margin at the left, the right and the top, in millimetres.
const edge = 12

// PDF writes the sheet as PDF. The same sheet gives the same bytes. The error is an
// *Unprintable where a character has no glyph, and else says that the paper is unknown
// or w fails; where there is one, nothing is written.
func (s *Sheet) PDF(w io.Writer, paper Paper) error {
	if paper != A4 && paper != Letter {
		return fmt.Errorf("paper %q is unknown; allowed: A4, letter", paper)
	}
	f := fpdf.New("P", "mm", strings.ToUpper(string(paper[:1]))+string(paper[1:]), "")
	f.AddUTF8FontFromBytes(fontName, "", dejavusanscondensed.TTF)
	f.AddUTF8FontFromBytes(fontName, "B", dejavusanscondensedbold.TTF)
	p := &printer{f: f, record: string(s.Procedure)}
	f.SetMargins(edge, edge, edge)
	f.SetCellMargin(0)
	f.SetAutoPageBreak(false, 0)
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
	p.width -= 2 * edge
	p.font("", footSize)
	for _, line := range s.Foot() {
		p.foot = append(p.foot, p.wrap(line, p.width)...)
	}
	p.bottom = p.high - float64(len(p.foot)+1)*footLine - 8
	f.SetFooterFunc(p.footer)
	f.AddPage()
	p.sheet(s)
	if p.err != nil {
		return p.err
	}
	return f.Output(w)
}

// printer writes parts of a sheet. Errors stick: the first of a text in err, those of
// the PDF library in it until Output gives them.
type printer struct {
	f      *fpdf.Fpdf
	record string
	err    error
	// width is that of the text, high the page's height, bottom where its text ends.
	width, high, bottom float64
	// foot is what stands at the foot of every page.
	foot []string
}

const footSize, footLine = 6.5, 3

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
	foot := []string{lines[0], lines[1], strings.Join(append(record, "printed "+string(s.Printed)), " · ")}
	if s.Hash != "" {
		foot = append(foot, fmt.Sprintf("SHA-256 of the %d records it rests on %s", len(s.Uses), s.Hash))
	}
	return foot
}

func (p *printer) footer() {
	p.font("", footSize)
	y := p.bottom + 4
	for _, line := range p.foot {
		p.line(edge, y, p.width, footLine, line, "C")
		y += footLine
	}
	p.line(edge, y, p.width, footLine, fmt.Sprintf("page %d of {nb}", p.f.PageNo()), "C")
}

func (p *printer) font(style string, size float64) { p.f.SetFont(fontName, style, size) }

// wrap breaks a text into lines of a width in the font that is set, at spaces only, so
// that a number stays with its unit. A word too long for a line is broken where it is full.
func (p *printer) wrap(text string, width float64) []string {
	text, err := printable(p.record, wording.Tie(text))
	if err != nil && p.err == nil {
		p.err = err
	}
	var lines []string
	for _, paragraph := range strings.Split(text, "\n") {
		line := ""
		for _, word := range strings.Split(paragraph, " ") {
			longer := word
			if line != "" {
				longer = line + " " + word
			}
			if p.f.GetStringWidth(longer) <= width {
				line = longer
				continue
			}
			if line != "" {
				lines = append(lines, line)
			}
			line = word
			for p.f.GetStringWidth(line) > width {
				n := p.fitting(line, width)
				lines = append(lines, line[:n])
				line = line[n:]
			}
		}
		lines = append(lines, line)
	}
	return lines
}

// fitting returns how many bytes of a word fit a width, one character at least.
func (p *printer) fitting(word string, width float64) int {
	n := 0
	for i, r := range word {
		end := i + len(string(r))
		if n > 0 && p.f.GetStringWidth(word[:end]) > width {
			break
		}
		n = end
	}
	return n
}

// line writes one line; one that reads from the right is set to the right.
func (p *printer) line(x, y, width, high float64, text, align string) {
	shown, rtl := visual(text)
	if rtl && align == "L" {
		align = "R"
	}
	p.f.SetXY(x, y)
	p.f.CellFormat(width, high, shown, "", 0, align, false, 0, "")
}

// piece is a text in one style.
type piece struct {
	style string
	size  float64
	text  string
	// indent is from the left of where it is written.
	indent float64
}

func (pc piece) lead() float64 { return pc.size * 0.47 }

// tall is how high pieces are under each other in a width.
func (p *printer) tall(pieces []piece, width float64) float64 {
	h := 0.0
	for _, pc := range pieces {
		p.font(pc.style, pc.size)
		h += float64(len(p.wrap(pc.text, width-pc.indent))) * pc.lead()
	}
	return h
}

// put writes pieces under each other, and returns where they end. It goes on to a new
// page where one is full.
func (p *printer) put(x, y, width float64, pieces []piece) float64 {
	for _, pc := range pieces {
		p.font(pc.style, pc.size)
		for _, l := range p.wrap(pc.text, width-pc.indent) {
			if y+pc.lead() > p.bottom {
				p.f.AddPage()
				y = edge
				p.font(pc.style, pc.size)
			}
			p.line(x+pc.indent, y, width-pc.indent, pc.lead(), l, "L")
			y += pc.lead()
		}
	}
	p.f.SetXY(edge, y)
	return y
}

func (p *printer) text(style string, size float64, s string) {
	p.put(edge, p.f.GetY(), p.width, []piece{{style, size, s, 0}})
}

func (p *printer) heading(s string) {
	p.room(22)
	p.f.SetY(p.f.GetY() + 3)
	p.text("B", 11.5, s)
	y := p.f.GetY() + 0.5
	p.f.SetLineWidth(0.5)
	p.f.Line(edge, y, edge+p.width, y)
	p.f.SetLineWidth(0.2)
	p.f.SetY(y + 1.5)
}

// room starts a new page when less than h millimetres are left.
func (p *printer) room(h float64) {
	if p.f.GetY()+h > p.bottom {
		p.f.AddPage()
		p.f.SetY(edge)
	}
}

// pieces are the texts of a caution: its signal word stands over it.
func (c Caution) pieces() []piece {
	return []piece{{"B", 8.5, c.Signal, 0}, {"", 9, c.Text, 0}}
}

// cautionTall is how high a caution is with the room after it.
func (p *printer) cautionTall(c Caution) float64 {
	return p.tall(c.pieces(), p.width-4) + 2
}

func (p *printer) caution(c Caution) {
	p.room(p.cautionTall(c))
	y := p.f.GetY()
	end := p.put(edge+4, y, p.width-4, c.pieces())
	p.f.SetFillColor(17, 17, 17)
	if end > y { // not over a page's end
		p.f.Rect(edge, y, 1.6, end-y, "F")
	}
	p.f.SetY(end + 2)
}

func (p *printer) sheet(s *Sheet) {
	p.text("B", 16, s.Title)
	p.old(s.For.Moment())
	p.forWhom(s.For)
	record := string(s.Procedure)
	if m := s.For.Moment().Short(); m != "" {
		record += ", " + m
	}
	p.text("", 8.5, record+", printed "+string(s.Printed)+"; "+s.Proved)
	p.f.SetY(p.f.GetY() + 1.5)
	p.fields([]string{"Job number", "Number plate or VIN", "Odometer", "Date"}, 9)
	p.f.SetY(p.f.GetY() + 1.5)
	p.check(s)
	for _, c := range s.Cautions {
		p.caution(c)
	}
	p.caution(Caution{"NOTICE", s.Notice}) // last: the worst is read first
	p.text("B", 9, "Wear: "+strings.Join(s.Wear, ", ")+".")
	p.heading("Tightening, in order of use")
	p.torques(s.Torques)
	p.heading("Lay out before you start")
	p.list("New parts", s.Parts)
	p.list("Sockets, bits and keys", s.Drives)
	p.list("Tools", s.Tools)
	p.list("Consumables", s.Supplies)
	p.heading("Steps")
	last := p.lastOnes(s)
	for i, st := range s.Steps {
		if i == last { // nobody signs a page with next to nothing on it
			tall := p.closingTall(s)
			for _, st := range s.Steps[i:] {
				tall += p.stepTall(st)
			}
			p.room(tall)
		}
		p.step(st)
	}
	if len(s.Owed) > 0 {
		p.heading("Still due after the job")
		p.list("", s.Owed)
	}
	p.heading("Sign-off")
	p.fields([]string{"Wrench numbers", "Done by, date", "Checked by, date"}, 12)
}

// lastOnes returns the first of the steps that stay on one page with the sign-off: as many
// as fill a third of a page with it.
func (p *printer) lastOnes(s *Sheet) int {
	least, tall := (p.bottom-edge)/3, p.closingTall(s)
	i := len(s.Steps)
	for i > 0 && tall < least {
		i--
		if tall += p.stepTall(s.Steps[i]); tall > p.bottom-edge {
			return i + 1
		}
	}
	return min(i, len(s.Steps)-1)
}

// closingTall is how much room what is due and the sign-off take.
func (p *printer) closingTall(s *Sheet) float64 {
	const heading, signed = 12, 18
	h := float64(heading + signed)
	if len(s.Owed) > 0 {
		h += heading
		for _, o := range s.Owed {
			h += p.tall([]piece{{"", 9, "• " + o, 0}}, p.width-2)
		}
	}
	return h
}

// old prints white on black that the values are of an old moment, and what they are now.
func (p *printer) old(m whom.Moment) {
	if !m.Old() {
		return
	}
	pieces := []piece{{"B", 12, m.Banner(), 0}}
	for _, c := range m.Changed {
		pieces = append(pieces, piece{"", 9.5, c, 0})
	}
	y := p.f.GetY() + 1
	p.f.SetFillColor(17, 17, 17)
	p.f.Rect(edge, y, p.width, min(p.tall(pieces, p.width-4)+3, p.bottom-y), "F")
	p.f.SetTextColor(255, 255, 255)
	y = p.put(edge+2, y+1.5, p.width-4, pieces)
	p.f.SetTextColor(0, 0, 0)
	p.f.SetY(y + 2.5)
}

// forWhom prints the box under the title that says what the sheet is for.
func (p *printer) forWhom(f whom.For) {
	lines := f.Lines()
	y := p.f.GetY() + 1
	end := p.put(edge+3, y+1.5, p.width-6, []piece{{"B", 11.5, lines[0], 0}, {"B", 9, lines[1], 0}})
	p.f.SetLineWidth(0.6)
	p.f.Rect(edge, y, p.width, end-y+1.5, "D")
	p.f.SetLineWidth(0.2)
	p.f.SetY(end + 3)
}

// fields prints a row of boxes to write in.
func (p *printer) fields(titles []string, high float64) {
	p.room(high + 1)
	y, w := p.f.GetY(), p.width/float64(len(titles))
	for i, t := range titles {
		x := edge + float64(i)*w
		p.f.Rect(x, y, w, high, "D")
		p.put(x+1, y+0.5, w-2, []piece{{"B", 7, t, 0}})
	}
	p.f.SetXY(edge, y+high)
}

// check prints the code that tells whether the sheet is still valid.
func (p *printer) check(s *Sheet) {
	if s.CheckCode == "" {
		return
	}
	img, err := qrPNG(s.CheckURL)
	if err != nil {
		p.f.SetError(err)
		return
	}
	const side = 30
	y := p.f.GetY()
	if img != nil {
		p.f.RegisterImageOptionsReader("qr", fpdf.ImageOptions{ImageType: "png"}, bytes.NewReader(img))
		p.f.ImageOptions("qr", edge, y, side, side, false, fpdf.ImageOptions{ImageType: "png"}, 0, "")
	}
	p.put(edge+side+2, y+9, p.width-side-2, []piece{{"B", 11, "Is this sheet still valid? Code " + s.CheckCode, 0}, {"", 8.5, s.CheckURL, 0}})
	p.f.SetXY(edge, y+side)
}

// columns of the torque table, in shares of the width.
var columns = []struct {
	title string
	share float64
}{{"#", .035}, {"Step", .05}, {"Fastener", .255}, {"Value", .245}, {"Conditions", .255}, {"Tick, value", .16}}

func (p *printer) torques(rows []Row) {
	p.tableHead()
	for _, r := range rows {
		p.row(r, [][]piece{
			{{"", 9, fmt.Sprint(r.Number), 0}},
			{{"", 9, fmt.Sprint(r.Step), 0}},
			pieces(piece{"", 9, r.What, 0}, piece{"", 7, r.Tool, 0}, piece{"", 7, r.Source, 0}),
			pieces(piece{"B", 10.5, r.Value, 0}, piece{"", 7, r.Stage, 0}, piece{"", 7, accept(r.Band), 0}),
			lines(7.5, r.Notes),
		})
	}
}

func accept(band string) string {
	if band == "" {
		return ""
	}
	return "accept " + band
}

// pieces leaves out those without text.
func pieces(all ...piece) []piece {
	var out []piece
	for _, pc := range all {
		if pc.text != "" {
			out = append(out, pc)
		}
	}
	return out
}

func lines(size float64, texts []string) []piece {
	var out []piece
	for _, t := range texts {
		out = append(out, piece{"", size, t, 0})
	}
	return out
}

func (p *printer) tableHead() {
	y := p.f.GetY()
	x := float64(edge)
	p.f.SetFillColor(235, 235, 235)
	for _, c := range columns {
		w := c.share * p.width
		p.f.Rect(x, y, w, 5, "FD")
		p.put(x+1, y+0.8, w-1.5, []piece{{"B", 7, c.title, 0}})
		x += w
	}
	p.f.SetXY(edge, y+5)
}

const box, boxStep = 3.6, 4.8

// boxesTall is how high the boxes of a row are.
func (p *printer) boxesTall(r Row, width float64) float64 {
	h := 7.0 // a line to write the value on
	for _, round := range r.Boxes {
		if round.Name != "" {
			h += p.tall([]piece{{"", 6.5, round.Name, 0}}, width)
		}
		h += boxStep * float64(ceil(round.Pieces, perLine(width)))
	}
	return h
}

func perLine(width float64) int { return max(1, int((width+boxStep-box)/boxStep)) }

func ceil(n, by int) int { return (n + by - 1) / by }

// boxes draws a box for every piece, for every time round, and a line for the value.
func (p *printer) boxes(x, y, width float64, r Row) {
	for _, round := range r.Boxes {
		if round.Name != "" {
			y = p.put(x, y, width, []piece{{"", 6.5, round.Name, 0}})
		}
		for i := range round.Pieces {
			n := perLine(width)
			p.f.Rect(x+float64(i%n)*boxStep, y+float64(i/n)*boxStep+0.6, box, box, "D")
		}
		y += boxStep * float64(ceil(round.Pieces, perLine(width)))
	}
	p.f.Line(x, y+6, x+width, y+6)
}

// row writes a row of the torque table.
func (p *printer) row(r Row, cells [][]piece) {
	last := columns[len(columns)-1].share*p.width - 2
	height := max(9, p.boxesTall(r, last)+1.5)
	for i, c := range cells {
		height = max(height, p.tall(c, columns[i].share*p.width-2)+2)
	}
	if p.f.GetY()+height > p.bottom {
		p.f.AddPage()
		p.f.SetY(edge)
		p.tableHead()
	}
	x, y := float64(edge), p.f.GetY()
	for i, c := range cells {
		w := columns[i].share * p.width
		p.f.Rect(x, y, w, height, "D")
		p.put(x+1, y+1, w-2, c)
		x += w
	}
	p.f.Rect(x, y, last+2, height, "D")
	p.boxes(x+1, y+0.6, last, r)
	p.f.SetXY(edge, y+height)
}

func (p *printer) list(title string, items []string) {
	if len(items) == 0 {
		return
	}
	p.room(12)
	if title != "" {
		p.text("B", 9.5, title)
	}
	for _, l := range items {
		item := []piece{{"", 9, l, 3}}
		p.room(p.tall(item, p.width-2))
		y := p.f.GetY()
		p.put(edge+2, y, 3, []piece{{"", 9, "•", 0}})
		p.put(edge+2, y, p.width-2, item)
	}
	p.f.SetY(p.f.GetY() + 1)
}

// pieces are the texts of a step.
func (st Step) pieces() []piece {
	body := st.Text
	if st.Side != "" {
		body = st.Side + ": " + body
	}
	out := []piece{{"", 9.5, body, 0}}
	for _, n := range st.Notes {
		out = append(out, piece{"", 8, n, 3})
	}
	for _, t := range st.Tools {
		out = append(out, piece{"", 8, "Tool: " + t, 3})
	}
	for _, a := range st.Accept {
		out = append(out, piece{"", 8.5, "Accept: " + a, 3})
	}
	for _, m := range st.Measured {
		out = append(out, piece{"", 9.5, m + ": ______________________", 3})
	}
	return out
}

const numberWide, tick = 9, 12 // widths beside a step's text

// stepTall is how high a step is with what stands before it.
func (p *printer) stepTall(st Step) float64 {
	h := p.tall(st.pieces(), p.width-numberWide-tick) + 3
	if st.Turn != "" {
		h += p.tall([]piece{{"B", 10, st.Turn, 0}}, p.width) + 3
	}
	for _, c := range st.Cautions {
		h += p.cautionTall(c)
	}
	return h
}

func (p *printer) step(st Step) {
	p.room(min(p.stepTall(st), p.bottom-edge))
	if st.Turn != "" {
		p.f.SetY(p.f.GetY() + 1.5)
		p.text("B", 10, st.Turn)
		p.f.SetY(p.f.GetY() + 1.5)
	}
	for _, c := range st.Cautions {
		p.caution(c)
	}
	y := p.f.GetY()
	p.put(edge, y, numberWide, []piece{{"B", 9.5, fmt.Sprint(st.Number), 0}})
	p.f.Rect(edge+p.width-box, y+0.4, box, box, "D")
	end := p.put(edge+numberWide, y, p.width-numberWide-tick, st.pieces())
	p.f.SetDrawColor(170, 170, 170)
	p.f.Line(edge, end+1, edge+p.width, end+1)
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetY(end + 2)
}
