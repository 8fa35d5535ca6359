package sheet_test

import (
	"errors"
	"iter"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

func coded(t testing.TB, position, leaf int64) (*sheet.Sheet, sheet.Code) {
	t.Helper()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	s, err := sheet.New(lib, sheet.Request{Procedure: "quill-1-rear-hub-bearing", Side: specdata.SideLeft, Printed: "2026-11-25", Moment: whom.Moment{Position: position}})
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.Code("workshop.example/demo", leaf)
	if err != nil {
		t.Fatal(err)
	}
	return s, c
}

func TestCodeReadsBack(t *testing.T) {
	for _, n := range []struct {
		position, leaf int64
		groups         int
	}{{1, 0, 3}, {1, 83, 3}, {15, 15, 3}, {16, 16, 4}, {4095, 4095, 4}, {1<<20 - 1, 1<<20 - 1, 5}, {1<<36 - 1, 1<<36 - 1, 7}} {
		_, c := coded(t, n.position, n.leaf)
		text := c.String()
		if got := strings.Count(text, "-"); got != n.groups {
			t.Errorf("%s has %d groups, want %d", text, got, n.groups)
		}
		for _, typed := range []string{text, strings.ToLower(text), strings.ReplaceAll(text, "-", ""), strings.ReplaceAll(text, "-", " "), " " + text, strings.NewReplacer("0", "O", "1", "I").Replace(text), strings.NewReplacer("0", "o", "1", "l").Replace(text)} {
			back, err := sheet.ParseCode(typed)
			if err != nil || back != c || back.Position != n.position || back.Leaf != n.leaf {
				t.Errorf("%q reads as %+v, %v; want %+v", typed, back, err, c)
			}
		}
	}
}

// Every wrong letter and every two neighbours swapped are told from a code, and so is
// a letter too few or too many.
func TestTypingErrors(t *testing.T) {
	const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	for _, n := range [][2]int64{{1, 83}, {70_000, 1_000_000}, {1<<36 - 1, 1<<36 - 1}} {
		_, c := coded(t, n[0], n[1])
		body := strings.ReplaceAll(c.String(), "-", "")[2:]
		wrong := func(how, typed string) {
			t.Helper()
			if typed == body {
				return
			}
			if got, err := sheet.ParseCode("PL" + typed); !errors.Is(err, sheet.ErrMistyped) {
				t.Errorf("%s: %s of %s is read as %v, %v", how, typed, body, got, err)
			}
		}
		for i := range body {
			for _, l := range letters {
				wrong("wrong letter", body[:i]+string(l)+body[i+1:])
			}
			for j := i + 1; j < len(body); j++ {
				wrong("swapped", body[:i]+body[j:j+1]+body[i+1:j]+body[i:i+1]+body[j+1:])
			}
			wrong("too few", body[:i]+body[i+1:])
			wrong("too many", body[:i]+body[i:i+1]+body[i:])
		}
	}
	for _, typed := range []string{"", "PL", "PL-", "15MZ-7K2Q-9RXD", "PL-U5MZ-7K2Q-9RXD", "PL-é5MZ-7K2Q-9RXD", "PL-\x00", strings.Repeat("P", 1000), "PL-" + strings.Repeat("0", 80)} {
		if _, err := sheet.ParseCode(typed); !errors.Is(err, sheet.ErrMistyped) {
			t.Errorf("%q gives %v", typed, err)
		}
	}
}

// The code is of everything the sheet rests on, and of nothing else.
func TestCodeCommits(t *testing.T) {
	s, c := coded(t, 7, 83)
	again := func(edit func(*sheet.Sheet), origin string, leaf int64) sheet.Code {
		other := *s
		other.Uses = append([]sheet.Used(nil), s.Uses...)
		edit(&other)
		got, err := other.Code(origin, leaf)
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	const origin = "workshop.example/demo"
	for name, edit := range map[string]func(*sheet.Sheet){
		"position": func(s *sheet.Sheet) { s.For = s.For.At(whom.Moment{Position: 8}) }, "procedure": func(s *sheet.Sheet) { s.Procedure += "x" }, "variant": func(s *sheet.Sheet) { s.Variant = "quill-2" },
		"side": func(s *sheet.Sheet) { s.For = s.For.OnSide("right") }, "a record less": func(s *sheet.Sheet) { s.Uses = s.Uses[1:] }, "a hash": func(s *sheet.Sheet) { s.Uses[3].Hash = s.Uses[2].Hash },
	} {
		if again(edit, origin, 83) == c {
			t.Errorf("another %s has the same code", name)
		}
	}
	if again(func(*sheet.Sheet) {}, "elsewhere", 83) == c || again(func(*sheet.Sheet) {}, origin, 84) == c {
		t.Error("another library or leaf has the same code")
	}
	if again(func(s *sheet.Sheet) { s.Printed, s.Notice, s.CheckURL = "2027-01-01", "", "x" }, origin, 83) != c {
		t.Error("printing the same sheet another day gives another code")
	}
	s.For = s.For.At(whom.Moment{})
	if _, err := s.Code(origin, 83); err == nil || !strings.Contains(err.Error(), "only what a library published") {
		t.Errorf("sheet of a folder: %v", err)
	}
}

// reading remembers what is read of a library.
type reading struct {
	library.Library
	read map[specdata.Name]bool
}

func (r *reading) Get(n specdata.Name) *library.Entry {
	r.read[n] = r.Library.Get(n) != nil
	return r.Library.Get(n)
}

func (r *reading) All(k specdata.Kind) iter.Seq[*library.Entry] { return r.each(r.Library.All(k)) }

func (r *reading) ForVehicle(k specdata.Kind, v string) iter.Seq[*library.Entry] {
	return r.each(r.Library.ForVehicle(k, v))
}

func (r *reading) each(all iter.Seq[*library.Entry]) iter.Seq[*library.Entry] {
	return func(yield func(*library.Entry) bool) {
		for e := range all {
			if r.read[e.Name()] = true; !yield(e) {
				return
			}
		}
	}
}

// What a sheet is made from is among what it says that it rests on.
func TestUsesHoldEverythingRead(t *testing.T) {
	lib := demoLibrary(t)
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, v := range dryrun.Variants(lib, p) {
			r := &reading{lib, map[specdata.Name]bool{}}
			s, err := sheet.New(r, request(p, v))
			if err != nil {
				t.Fatal(err)
			}
			for _, u := range s.Uses {
				delete(r.read, u.Name)
			}
			for name, there := range r.read {
				if there && name.Kind() != specdata.KindVehicle {
					t.Errorf("%s: %s is read and not among what it rests on", p.ID, name)
				}
			}
		}
	}
}

func FuzzParseCode(f *testing.F) {
	_, c := coded(f, 12, 83)
	f.Add(c.String())
	f.Add("PL-GGGG-GGGG-GGGG")
	f.Fuzz(func(t *testing.T, typed string) {
		c, err := sheet.ParseCode(typed)
		if err != nil {
			return
		}
		if back, err := sheet.ParseCode(c.String()); err != nil || back != c {
			t.Fatalf("%q is read as %+v, which prints as %s: %v", typed, c, c, err)
		}
	})
}

// Numbers of any size read back.
func TestCodeNumbers(t *testing.T) {
	s, _ := coded(t, 1, 0)
	rapid.Check(t, func(t *rapid.T) {
		s.For = s.For.At(whom.Moment{Position: rapid.Int64Range(1, 1<<36-1).Draw(t, "position")})
		leaf := rapid.Int64Range(0, 1<<36-1).Draw(t, "leaf")
		c, err := s.Code("a", leaf)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := sheet.ParseCode(c.String()); err != nil || back != c || len(c.String()) > 2+7*5 {
			t.Fatalf("%s reads as %+v, %v", c, back, err)
		}
	})
}
