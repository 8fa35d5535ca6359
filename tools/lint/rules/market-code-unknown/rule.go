// Package marketcodeunknown holds the rule market-code-unknown: market that is no country.
package marketcodeunknown

import (
	_ "embed"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "market-code-unknown",
	Title:     "market that is no country",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 3166-1 alpha-2"}},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle),
	Record:    check,
}

// countries are the officially assigned codes (ISO 3166-1 alpha-2, as of N1108 of 2023).
var countries = strings.Fields(`
AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ
BL BM BN BO BQ BR BS BT BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR
CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI FJ FK FM FO FR
GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU
ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ
LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ
MR MS MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF
PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE SG SH SI
SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR
TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW
`)

// usual are codes people write for a country that has another.
var usual = map[string]string{"UK": "GB", "EN": "GB", "EL": "GR", "SP": "ES"}

func check(p *lint.Pass) {
	for i, code := range p.Vehicle().Markets {
		if _, ok := slices.BinarySearch(countries, code); ok {
			continue
		}
		hint := ""
		if c, ok := usual[code]; ok {
			hint = " (did you mean \"" + c + "\"?)"
		} else if code == "EU" {
			hint = " (the union is no country; list its members)"
		}
		p.Reportf(specdata.At("/markets", i, ""), "market %q is not a country code of ISO 3166-1%s; write the two letters of the country", code, hint)
	}
}
