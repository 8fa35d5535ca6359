package joint

import (
	"testing"

	"proofload/specdata"
)

func BenchmarkParse(b *testing.B) {
	for _, s := range []string{"M10x1.25", "M39x1.5-6g LH", "7/16-20 UNF"} {
		b.Run(s, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := ParseThread(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkJudge(b *testing.B) {
	for name, f := range map[string]*specdata.Fastener{"torque": hubNut(), "angle": headBolt()} {
		in, not := FromFastener(f)
		if len(not) > 0 {
			b.Fatal(not)
		}
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if v := Judge(in); v.Class != Good {
					b.Fatal(v.Class)
				}
			}
		})
	}
}

func BenchmarkFromFastener(b *testing.B) {
	f := hubNut()
	b.ReportAllocs()
	for b.Loop() {
		if in, _ := FromFastener(f); in.Torque != 240 {
			b.Fatal(in.Torque)
		}
	}
}

func BenchmarkText(b *testing.B) {
	in, _ := FromFastener(hubNut())
	v := Judge(in)
	b.ReportAllocs()
	for b.Loop() {
		if v.Text() == "" {
			b.Fatal("no text")
		}
	}
}
