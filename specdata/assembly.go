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
	Source      *Citation    `json:"source,omitempty"`
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
	// Fluid is brake-fluid, coolant, fuel, engine-oil, gear-oil, refrigerant or hydraulic-oil.
	Fluid    string   `json:"fluid"`
	Capacity Quantity `json:"capacity,omitzero"`
	// Pressurised says that it must be let down before it is opened.
	Pressurised bool `json:"pressurised,omitempty"`
	// Bleed says that air must be got out after it was opened.
	Bleed bool `json:"bleed,omitempty"`
}

// RideHeight is how the loaded position of the suspension is set and checked.
type RideHeight struct {
	// Measure says between which points ("hub centre to arch lip").
	Measure string   `json:"measure"`
	Value   Quantity `json:"value,omitzero"`
}
