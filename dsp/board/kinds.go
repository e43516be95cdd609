package board

// Kinds of stages.
const (
	phototransistor = "phototransistor"
	photodiode      = "photodiode"
	electrodes      = "electrodes"
	generator       = "generator"
	difference      = "difference"
	instrumentation = "instrumentation"
	coupling        = "coupling"
	nonInverting    = "non-inverting"
	inverting       = "inverting"
	lowPass         = "low-pass"
	sallenKey       = "sallen-key"
	buffer          = "buffer"
	divider         = "divider"
)

// role is what a part does in its stage.
type role struct {
	name, unit, letter string // letter of its numbered name; P is a trimmer
	optional           bool
	twice              bool // in both arms of a circuit
}

// units bound values and give usual tolerances (common practice).
var units = map[string]struct{ low, high, tolerance float64 }{
	"Ω": {0.1, 1e10, 0.05},
	"F": {1e-13, 0.1, 0.1},
	"A": {1e-6, 1, 0.1},
	"":  {1e-7, 10, 0.3}, // light that reaches the sensor: a finger is no precision part
}

type kind struct {
	name   string
	sensor bool
	opAmps int
	roles  []role
}

func (k *kind) has(name string) bool {
	for _, r := range k.roles {
		if r.name == name {
			return true
		}
	}
	return false
}

func resistor(name string) role  { return role{name: name, unit: "Ω", letter: "R"} }
func capacitor(name string) role { return role{name: name, unit: "F", letter: "C"} }
func maybe(r role) role          { r.optional = true; return r }
func both(r role) role           { r.twice = true; return r }
func trimmer() role              { return role{name: "trimmer", unit: "Ω", letter: "P", optional: true} }
func light() []role {
	return []role{resistor("load"), {name: "lamp", unit: "A", letter: "I"}, {name: "transfer", letter: "T"}, maybe(capacitor("capacitance"))}
}

var kinds = []kind{
	{phototransistor, true, 0, light()},
	{photodiode, true, 0, light()},
	{electrodes, true, 0, []role{both(resistor("series")), resistor("third"), maybe(both(resistor("skin"))), maybe(both(resistor("bias")))}},
	{generator, true, 0, []role{resistor("source")}},
	{difference, false, 1, []role{both(resistor("in")), both(resistor("feedback")), maybe(both(capacitor("feedbackCapacitor")))}},
	{instrumentation, false, 3, []role{both(resistor("arm")), resistor("gain"), both(resistor("in")), both(resistor("feedback")), maybe(both(capacitor("feedbackCapacitor")))}},
	{coupling, false, 0, []role{capacitor("capacitor"), resistor("resistor")}},
	{nonInverting, false, 1, []role{resistor("feedback"), resistor("leg"), trimmer(), maybe(capacitor("legCapacitor")), maybe(capacitor("feedbackCapacitor"))}},
	{inverting, false, 1, []role{resistor("in"), resistor("feedback"), trimmer(), maybe(capacitor("inCapacitor")), maybe(capacitor("feedbackCapacitor"))}},
	{lowPass, false, 0, []role{resistor("resistor"), trimmer(), capacitor("capacitor")}},
	{sallenKey, false, 1, []role{resistor("first"), resistor("second"), capacitor("feedbackCapacitor"), capacitor("capacitor"), maybe(resistor("feedback")), maybe(resistor("leg"))}},
	{buffer, false, 1, nil},
	{divider, false, 0, []role{resistor("top"), resistor("bottom"), maybe(capacitor("capacitor"))}},
}

func kindOf(name string) (*kind, bool) {
	for i := range kinds {
		if kinds[i].name == name {
			return &kinds[i], true
		}
	}
	return &kind{}, false
}

func stageNames() []string {
	var names []string
	for _, k := range kinds {
		names = append(names, k.name)
	}
	return names
}

// RoleInfo and KindInfo tell a page which parts a stage has.
type RoleInfo struct {
	Role     string `json:"role"`
	Unit     string `json:"unit"`
	Optional bool   `json:"optional"`
	Trimmer  bool   `json:"trimmer"`
	Twice    bool   `json:"twice"`
}

// KindInfo is a kind of stage.
type KindInfo struct {
	Stage  string     `json:"stage"`
	Sensor bool       `json:"sensor"`
	OpAmps int        `json:"opAmps"`
	Roles  []RoleInfo `json:"roles"`
}

// Kinds lists the kinds of stages.
func Kinds() []KindInfo {
	var all []KindInfo
	for _, k := range kinds {
		info := KindInfo{Stage: k.name, Sensor: k.sensor, OpAmps: k.opAmps, Roles: []RoleInfo{}}
		for _, r := range k.roles {
			info.Roles = append(info.Roles, RoleInfo{r.name, r.unit, r.optional, r.letter == "P", r.twice})
		}
		all = append(all, info)
	}
	return all
}
