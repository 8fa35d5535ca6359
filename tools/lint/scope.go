package lint

import "proofload/specdata"

// Scopes that several rules share.
var (
	// Procedures is every procedure.
	Procedures = Kind(specdata.KindProcedure)
	// Fasteners is every fastener.
	Fasteners = Kind(specdata.KindFastener)
	// MetalThreads is the fasteners whose thread the mechanics can judge.
	MetalThreads = FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && f.Joint != specdata.JointPlastic && f.Thread.Into != "plastic"
	})
	// LoadedHoles is the fasteners that carry load in a hole tapped into metal.
	LoadedHoles = FastenerWhere(func(f *specdata.Fastener) bool {
		switch f.Joint {
		case specdata.JointClamp, specdata.JointWheel, specdata.JointTension, specdata.JointPinch, specdata.JointFriction:
			return f.Thread != nil && f.Thread.Into != "nut" && f.Thread.Into != "plastic"
		}
		return false
	})
)
