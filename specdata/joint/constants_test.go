package joint

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// constants are the numbers of this package that move a verdict. A cell of
// testdata/reference/joint_constants.csv has the value of each and where it comes from.
var constants = map[string]any{
	// thread geometry
	"metricSizes": metricSizes, "unifiedSizes": unifiedSizes, "numberBase": numberBase, "numberStep": numberStep, "millimetre": millimetre, "inch": inch,
	"sqrt3": sqrt3, "heightPP": heightPP, "pitchPP": pitchPP, "minorPP": minorPP, "rootPP": rootPP, "unRootPP": unRootPP, "unMinor": unMinor, "insertPP": insertPP,
	"plastic": plastic, "elastic": elastic, "flank60": flank60, "byPitch": byPitch, "byRange": byRange,
	"b11Diameter": b11Diameter, "b11Root": b11Root, "b11Pitch": b11Pitch, "b11Allowance": b11Allowance, "b11Major": b11Major, "b11Minor": b11Minor,
	"b11MinorSquare": b11MinorSquare, "b11Small": b11Small, "b11SmallPitch": b11SmallPitch, "b11SmallRatio": b11SmallRatio, "b11SmallLess": b11SmallLess,
	"b11SmallMost": b11SmallMost, "b11Internal": b11Internal, "b11Step": b11Step, "b11MinorStep": b11MinorStep,
	// strength
	"mpa": mpa, "ksi": ksi, "isoGrades": isoGrades, "stainlessGrades": stainlessGrades, "saeGrades": saeGrades, "saeSmallest": saeSmallest,
	"steelModulus": steelModulus, "stainlessModulus": stainlessModulus, "nutClasses": nutClasses, "materials": materials, "shearSteel": shearSteel, "runIn": runIn,
	// friction and torque
	"steelBands": steelBands, "stainlessBands": stainlessBands, "leastFriction": leastFriction, "mostFriction": float64(mostFriction),
	"TableUtilisation": TableUtilisation, "SlackShare": SlackShare, "LowShare": LowShare, "tableRounding": tableRounding, "DefaultTolerance": DefaultTolerance,
	"isoDrag": isoDrag, "inchDrag": inchDrag, "PoundInch": PoundInch, "footPound": footPound, "kilopondFeet": kilopondFeet, "runDownShare": runDownShare,
	"Slips": Slips, "alikeMends": alikeMends, "mostMends": float64(mostMends), "rare": float64(rare),
	// stretch
	"headLength": headLength, "engagedLength": engagedLength, "nutLength": nutLength, "tappedLength": tappedLength,
	"throughCone": throughCone, "tappedCone": tappedCone, "leastCone": leastCone, "mostCone": mostCone, "firstCone": firstCone,
	// heads, holes and tools
	"clearance": clearance, "anyHole": anyHole, "inchHole": inchHole, "largeInchHole": largeInchHole, "inchHoleShare": inchHoleShare, "hexTolerances": hexTolerances,
	"faceBySize": float64(faceBySize), "faceShare": faceShare, "flangeFaces": flangeFaces, "socketFaces": socketFaces, "flangeFace": flangeFace, "socketFace": socketFace,
	"anyFlats": anyFlats, "anyFace": anyFace, "flats": flats, "keys": keys, "wheel": wheel, "inchFlats": inchFlats, "ladder": ladder, "wrenchPlay": wrenchPlay,
	"recesses": recesses, "hexKeys": hexKeys, "openings": openings, "screwdriver": float64(screwdriver), "Squares": Squares,
	"inchFace": inchFace, "encapsulated": encapsulated, "britishFlats": britishFlats, "baFlats": baFlats, "heavyShare": heavyShare, "heavyMore": heavyMore,
	"whitworth": whitworth, "ba": ba, "npt": npt, "moreUnified": moreUnified, "pipes": pipes, "britishSizes": britishSizes, "baSizes": baSizes,
	// seats and what is clamped
	"plugTorques": plugTorques, "coneMeanLow": coneMeanLow, "coneMeanHigh": coneMeanHigh, "ringShare": ringShare, "ballMost": ballMost, "washers": washers,
	"clampedMaterials": clampedMaterials, "stainlessExpansion": stainlessExpansion, "steelExpansion": steelExpansion, "softModulus": softModulus,
	"thinSleeve": thinSleeve, "settleThread": settleThread, "settleSeatFine": settleSeatFine, "settleSeatHard": settleSeatHard,
	"settleFaceFine": settleFaceFine, "settleFaceHard": settleFaceHard, "paintThin": paintThin, "paintThick": paintThick, "softest": softest,
	"smallScale": float64(smallScale), "largeDeviation": largeDeviation, "smallDeviation": smallDeviation, "provedFrom": provedFrom, "outerShare": outerShare,
}

// cells writes a constant as cells: a name and a place in it, and the value there. A row
// of a table is named by its first member.
func cells(out map[string]float64, name string, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		if _, twice := out[name]; twice {
			panic(name + " twice")
		}
		out[name] = v.Float()
	case reflect.Int, reflect.Int64:
		out[name] = float64(v.Int())
	case reflect.Bool:
		out[name] = 0
		if v.Bool() {
			out[name] = 1
		}
	case reflect.Slice, reflect.Array:
		rows := map[string]int{}
		for i := range v.Len() {
			row := strconv.Itoa(i + 1)
			if e := v.Index(i); e.Kind() == reflect.Struct {
				row = rowName(e.Field(0))
				if rows[row]++; rows[row] > 1 {
					row += "#" + strconv.Itoa(rows[row])
				}
			}
			cells(out, name+"/"+row, v.Index(i))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			cells(out, name+"/"+k.String(), v.MapIndex(k))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			cells(out, name+"/"+v.Type().Field(i).Name, v.Field(i))
		}
	}
}

func rowName(v reflect.Value) string {
	if v.Kind() == reflect.Float64 {
		return strconv.FormatFloat(v.Float(), 'g', 8, 64)
	}
	return strings.ReplaceAll(v.String(), "/", "÷")
}

// Every cell of every constant is that of testdata/reference/joint_constants.csv, which
// says where it comes from; nothing is in one alone.
func TestConstantsAreTheTable(t *testing.T) {
	got := map[string]float64{}
	for name, v := range constants {
		cells(got, name, reflect.ValueOf(v))
	}
	seen := map[string]bool{}
	for _, r := range rows(t, "joint_constants") {
		cell := r["cell"]
		want, err := strconv.ParseFloat(r["value"], 64)
		if err != nil || r["source"] == "" || seen[cell] {
			t.Errorf("%s: value %q, source %q, twice %v", cell, r["value"], r["source"], seen[cell])
			continue
		}
		seen[cell] = true
		value, ok := got[cell]
		switch {
		case !ok:
			t.Errorf("%s is in the table and not in the package", cell)
		case math.Abs(value-want) > 1e-12*math.Abs(want):
			t.Errorf("%s is %v, the table has %s (%s)", cell, value, r["value"], r["source"])
		}
	}
	var missing []string
	for cell, v := range got {
		if !seen[cell] {
			missing = append(missing, fmt.Sprintf("%s,%v", cell, v))
		}
	}
	slices.Sort(missing)
	if file := os.Getenv("JOINT_MISSING"); file != "" {
		os.WriteFile(file, []byte(strings.Join(missing, "\n")), 0o644)
	}
	if len(missing) > 0 {
		t.Errorf("%d cells are in the package and not in testdata/reference/joint_constants.csv; add them with their source:\n%s", len(missing), strings.Join(missing[:min(20, len(missing))], "\n"))
	}
}

// No number that moves a verdict hides: each declaration with one is in constants, and
// inside functions there are only small whole numbers of formulas and powers of ten.
func TestNoConstantHides(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, f.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				for _, l := range numbers(fn) {
					if v, err := strconv.ParseFloat(l.Value, 64); err != nil || v > 4 && !layout[l.Value] && !powerOfTen(v) || v != math.Trunc(v) && !powerOfTen(v) {
						t.Errorf("%s: %s stands in %s; make it a constant with its source", fset.Position(l.Pos()), l.Value, fn.Name.Name)
					}
				}
				continue
			}
			for _, s := range d.(*ast.GenDecl).Specs {
				v, ok := s.(*ast.ValueSpec)
				if !ok || len(numbers(v)) == 0 {
					continue
				}
				for _, n := range v.Names {
					if _, ok := constants[n.Name]; !ok {
						t.Errorf("%s: %s holds a number and is not in the list of constants", fset.Position(n.Pos()), n.Name)
					}
				}
			}
		}
	}
}

// layout are sizes of text: bits of a float, widths, degrees of half a circle.
var layout = map[string]bool{"24": true, "40": true, "48": true, "64": true, "180": true}

func powerOfTen(v float64) bool {
	return v > 0 && math.Abs(math.Log10(v)-math.Round(math.Log10(v))) < 1e-12
}

func numbers(n ast.Node) (all []*ast.BasicLit) {
	ast.Inspect(n, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && (l.Kind == token.FLOAT || l.Kind == token.INT) {
			all = append(all, l)
		}
		return true
	})
	return all
}
