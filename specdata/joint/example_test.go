package joint_test

import (
	"fmt"
	"log"

	"proofload/specdata"
	"proofload/specdata/joint"
)

// A bolt's own numbers: the areas that carry, the class, and the torque that
// reaches nine tenths of its yield.
func ExampleYieldTorque() {
	thread, err := joint.ParseThread("M10")
	if err != nil {
		log.Fatal(err)
	}
	grade, err := joint.BoltGrade("8.8", thread.Major)
	if err != nil {
		log.Fatal(err)
	}
	bearing := joint.StandardBearing(thread)
	// VDI 2230 and most handbook tables use one friction for thread and head.
	mu := joint.Mu{Thread: 0.12, Head: 0.12}
	torque := joint.YieldTorque(thread, bearing, mu, joint.TableUtilisation*grade.Yield)
	fmt.Printf("%s %s: %.0f N·m\n", thread, grade.Name, torque)
	// Output: M10x1.5 8.8: 48 N·m
}

// A whole joint, judged the way the lint rules judge a fastener record.
func ExampleJudge() {
	f := &specdata.Fastener{
		Joint:    specdata.JointClamp,
		Thread:   &specdata.Thread{Designation: "M10x1.5"},
		Strength: &specdata.Strength{Bolt: "8.8"},
	}
	in, _ := joint.FromFastener(f)
	in.Torque = 110
	v := joint.Judge(in)
	fmt.Println(v.Summary())
	// Output: 110 N·m breaks the bolt: even at µ 0.20 the bolt (8.8) yields at 75.2 N·m and reaches its tensile strength at 94 N·m
}
