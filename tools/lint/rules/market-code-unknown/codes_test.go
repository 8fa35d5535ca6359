package marketcodeunknown

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// The outside list is the table of the time zone database, ISO/TC 46 N1108.
func TestCountriesAreISO3166(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "..", "..", "testdata", "reference", "iso3166.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, r := range rows[1:] {
		want = append(want, r[0])
	}
	slices.Sort(want)
	if !slices.Equal(countries, want) {
		t.Errorf("countries differ from the reference:\n got %v\nwant %v", countries, want)
	}
}
