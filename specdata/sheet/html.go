package sheet

import (
	_ "embed"
	"encoding/base64"
	"html/template"
	"io"

	"proofload/specdata/wording"
)

//go:embed sheet.html
var page string

var htmlPage = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"tie": wording.Tie,
	"qr": func(s *Sheet) (template.URL, error) {
		png, err := qrPNG(s.CheckURL)
		if err != nil || png == nil {
			return "", err
		}
		// The bytes are our own PNG, so the data URL carries nothing of the record's.
		return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(png)), nil
	},
}).Parse(page))

// HTML writes the sheet as one self-contained page that prints on A4 and US
// letter. It fails when w does.
func (s *Sheet) HTML(w io.Writer) error { return htmlPage.Execute(w, s) }
