package specdata

// Assembly is the things around a job and how they hold each other. The dry run
// executes on it and the draft planner searches it.
type Assembly struct {
	Head
	AppliesTo []Applies `json:"applies_to"`
	Place     string    `json:"place"`
	// End is the end of the vehicle that must be raised to work there: front, rear, or absent.
	End string `json:"end,omitempty"`
	// Handed says that there is one of these on either side.
	Handed      bool         `json:"handed,omitempty"`
	Parts       []Part       `json:"parts"`
	Joints      []Joint      `json:"joints,omitempty"`
	Connections []Connection `json:"connections,omitempty"`
	Clips       []Clip       `json:"clips,omitempty"`
	Circuits    []Circuit    `json:"circuits,omitempty"`
	RideHeight  *RideHeight  `json:"ride_height,omitempty"`
	// Limits are the measures and settings that decide whether work there is good.
	Limits []Limit `json:"limits,omitempty"`
	// Waits are the times that must pass before something is safe or set.
	Waits []WaitTime `json:"waits,omitempty"`
	// Owes are the calibrations that work there owes.
	Owes   []Owes    `json:"owes,omitempty"`
	Source *Citation `json:"source,omitempty"`
}

// Part is something that comes off.
type Part struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// HeldBy lists ids of fasteners that hold it.
	HeldBy []string `json:"held_by,omitempty"`
	// Behind lists ids of things of this assembly that must be off, apart or disconnected before it can be reached or freed.
	Behind []string `json:"behind,omitempty"`
	// HangsOn names what must not carry its weight when it is unfastened ("brake hose").
	HangsOn string `json:"hangs_on,omitempty"`
	// Heavy says that it needs two people or a lifting aid.
	Heavy bool     `json:"heavy,omitempty"`
	Mass  Quantity `json:"mass,omitzero"`
	// Renew says that the part is never refitted once off (a gasket, a seal).
	Renew bool `json:"renew,omitempty"`
	// Friction says that the surface makes brake or clutch dust.
	Friction bool `json:"friction,omitempty"`
	// Wheel says that this is the road wheel.
	Wheel bool `json:"wheel,omitempty"`
	// Runs says that it turns with the engine, or guards what does: a belt, a fan shroud.
	Runs bool `json:"runs,omitempty"`
	// Aids names what is set before it is loosened and stays until it is back: a locking
	// pin, a spring compressor, a caging bolt, a jack under what it holds up.
	Aids []string `json:"aids,omitempty"`
	// Seals lists ids of things of this assembly whose face or mouth it seals: it is
	// renewed whenever one of them is undone.
	Seals []string `json:"seals,omitempty"`
}

// Joint holds by fit rather than by thread.
type Joint struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Kind is taper, press, spline, ball, pinch or slide.
	Kind string `json:"kind"`
	// Between lists ids of parts it joins.
	Between []string `json:"between"`
	// HeldBy lists ids of fasteners that must be off before it parts.
	HeldBy []string `json:"held_by,omitempty"`
	Behind []string `json:"behind,omitempty"`
	// Aid names the puller, wedge or press it needs.
	Aid string `json:"aid,omitempty"`
}

// Connection is a plug, pipe, hose, cable or link that is undone and made again.
type Connection struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Kind is plug, pipe, hose, cable or link.
	Kind string `json:"kind"`
	// Circuit is the id of the fluid circuit it opens.
	Circuit string `json:"circuit,omitempty"`
	// Holds lists ids of parts that cannot come away while it is made.
	Holds  []string `json:"holds,omitempty"`
	HeldBy []string `json:"held_by,omitempty"`
	Behind []string `json:"behind,omitempty"`
	// Electrics names what must be safe first: battery, high-voltage, airbag.
	Electrics string `json:"electrics,omitempty"`
}

// Clip holds a lead, hose or cover.
type Clip struct {
	ID     string   `json:"id"`
	Title  string   `json:"title"`
	Holds  []string `json:"holds,omitempty"`
	Behind []string `json:"behind,omitempty"`
}

// Circuit is a fluid circuit that a job may open.
type Circuit struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Fluid is brake-fluid, coolant, fuel, engine-oil, gear-oil, refrigerant,
	// hydraulic-oil or air.
	Fluid string `json:"fluid"`
	// Specification is the grade as the source prints it.
	Specification string   `json:"specification,omitempty"`
	Capacity      Quantity `json:"capacity,omitzero"`
	// Pressurised says that it must be let down before it is opened.
	Pressurised bool `json:"pressurised,omitempty"`
	// Bleed says that air must be got out after it was opened.
	Bleed bool `json:"bleed,omitempty"`
	// ClosedBy lists what closes it besides its connections: "fastener:…", "part:…",
	// "clip:…". All of it is closed before the circuit is filled or the engine runs.
	ClosedBy []Target `json:"closed_by,omitempty"`
	// Drain lists what lets it out, Fill what it is filled through, Level what is
	// opened to read its level, all of the same form.
	Drain []Target `json:"drain,omitempty"`
	Fill  []Target `json:"fill,omitempty"`
	Level []Target `json:"level,omitempty"`
}

// Limit is a measure or setting with its bounds: a thickness, a run-out, a gap, a pressure.
type Limit struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Low and High bound it; at least one is there.
	Low  Quantity `json:"low,omitzero"`
	High Quantity `json:"high,omitzero"`
	// Quote is the number as the assembly's source prints it, At the place in it.
	Quote string `json:"quote,omitempty"`
	At    string `json:"at,omitempty"`
}

// WaitTime is a time that must pass.
type WaitTime struct {
	// For is what it is for: high-voltage, airbag, battery, or the id of a product.
	For   string   `json:"for"`
	Least Quantity `json:"least"`
	// Quote is the time as the assembly's source prints it, At the place in it.
	Quote string `json:"quote,omitempty"`
	At    string `json:"at,omitempty"`
}

// Owes is a calibration that work on some things owes, by scan tool or by target board.
type Owes struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// After lists the targets whose disturbance owes it.
	After []Target `json:"after"`
	// Where restricts it to option values.
	Where map[string][]string `json:"where,omitempty"`
}

// RideHeight is how the loaded position of the suspension is set and checked.
type RideHeight struct {
	// Measure says between which points ("hub centre to arch lip").
	Measure string   `json:"measure"`
	Value   Quantity `json:"value,omitzero"`
}
