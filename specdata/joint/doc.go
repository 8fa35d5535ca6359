// Package joint computes what a torque does to a threaded joint: thread geometry,
// strength, friction, clamp load, stripping, tightening by angle and the tools.
//
// Everything inside is in SI (m, N, N·m, Pa, rad); words and units are at the
// edge, in [FromFastener] and [Verdict.Text]. Each formula names its standard and
// equation and each constant its table. A value that nobody here could look up is
// said to be "from memory", and is used to explain, never alone to refuse.
//
// The bolt standards were not opened: their numbers come from the republications
// that testdata/reference names row by row and were checked against it by the
// tests of this package.
//
// Friction decides most of the answer and is never known exactly, so a judgement
// keeps a band of it and says at which friction each statement is true: a joint
// is called over yield only where even the highest friction of the band cannot
// save it.
package joint
