package board

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Board is a supply, a mid-rail, stages and a converter.
type Board struct {
	Version     int        `json:"board"` // 1
	Name        string     `json:"name,omitempty"`
	Kind        string     `json:"kind,omitempty"` // pulse, ecg, other
	SupplyVolts float64    `json:"supplyVolts"`
	OpAmp       *OpAmp     `json:"opAmp,omitempty"` // nil: single-supply quad, bipolar
	MidRail     *MidRail   `json:"midRail,omitempty"`
	Converter   *Converter `json:"converter,omitempty"`
	Stages      []Stage    `json:"stages"`
}

// MidRail is a divider from the supply.
type MidRail struct {
	Top      Part  `json:"top"`
	Bottom   Part  `json:"bottom"`
	Bypass   *Part `json:"bypass,omitempty"`
	Buffered bool  `json:"buffered,omitempty"`
}

// Converter is the analogue-to-digital converter behind the board.
type Converter struct {
	ReferenceVolts float64 `json:"referenceVolts"`
	Bits           int     `json:"bits"`
	RateHz         float64 `json:"rateHz"`
}

// Stage is one stage; Stage.Kind names its circuit and Parts its parts by role.
type Stage struct {
	Kind   string          `json:"stage"`
	Name   string          `json:"name,omitempty"`
	Parts  map[string]Part `json:"parts,omitempty"`
	OpAmp  *OpAmp          `json:"opAmp,omitempty"`
	PullUp bool            `json:"pullUp,omitempty"`
}

// Title is the stage's name, or its kind.
func (s *Stage) Title() string {
	if s.Name != "" {
		return s.Name
	}
	return s.Kind
}

const (
	mostStages = 16
	mostBytes  = 64 << 10
	mostName   = 60
)

// Parse reads a board and checks it.
func Parse(text []byte) (*Board, error) {
	if len(text) > mostBytes {
		return nil, fmt.Errorf("board: file of %d bytes: it may have at most %d", len(text), mostBytes)
	}
	var b Board
	if err := strict(text, &b); err != nil {
		return nil, err
	}
	if !json.Valid(text) { // something follows the board
		return nil, fmt.Errorf("board: there is more than one value in the file; keep one board")
	}
	if err := b.Check(); err != nil {
		return nil, err
	}
	return &b, nil
}

//go:embed examples/*.board.json
var examples embed.FS

// ExampleNames are the boards of the evening class.
func ExampleNames() []string { return []string{"lamp_clip_a", "lamp_clip_b", "chest_lead_a"} }

// Example is a board of the evening class by name.
func Example(name string) (*Board, error) {
	for _, n := range ExampleNames() {
		if n == name {
			text, err := fs.ReadFile(examples, "examples/"+n+".board.json")
			if err != nil {
				return nil, err
			}
			return Parse(text)
		}
	}
	return nil, fmt.Errorf("board: example %q: there are %s", short([]byte(name)), strings.Join(ExampleNames(), ", "))
}

// Check tells the first thing that is wrong.
func (b *Board) Check() error {
	if b.Version != 1 {
		return fmt.Errorf("board: format version %d: this program reads 1; write \"board\": 1", b.Version)
	}
	if err := checkTitle("board", b.Name); err != nil {
		return err
	}
	if b.Kind != "" && !knownKind(b.Kind) {
		return fmt.Errorf("board: kind %q: it must be pulse, ecg or other", short([]byte(b.Kind)))
	}
	if err := within("board: supply", b.SupplyVolts, limits{1, 36, "V"}); err != nil {
		return err
	}
	if b.OpAmp != nil {
		if err := b.OpAmp.check("whole board", b.SupplyVolts); err != nil {
			return err
		}
	}
	if err := b.checkConverter(); err != nil {
		return err
	}
	if len(b.Stages) == 0 || len(b.Stages) > mostStages {
		return fmt.Errorf("board: %d stages: there must be 1 to %d", len(b.Stages), mostStages)
	}
	for i := range b.Stages {
		if err := b.checkStage(i); err != nil {
			return err
		}
	}
	if err := b.checkParts(); err != nil {
		return err
	}
	return b.checkStable()
}

func (b *Board) checkConverter() error {
	c := b.Converter
	if c == nil {
		return nil
	}
	if err := within("board: converter: reference", c.ReferenceVolts, limits{0.1, 36, "V"}); err != nil {
		return err
	}
	if c.Bits < 6 || c.Bits > 24 {
		return fmt.Errorf("board: converter: %d bits: it must be 6 to 24", c.Bits)
	}
	return within("board: converter: rate", c.RateHz, limits{1, 1e6, "Hz"})
}

// limits are the least and the greatest value that is taken.
type limits struct {
	low, high float64
	unit      string
}

func within(what string, v float64, l limits) error {
	if !(v >= l.low && v <= l.high) {
		return fmt.Errorf("%s of %g %s: it must be from %s to %s", what, v, l.unit, Text(l.low, l.unit), Text(l.high, l.unit))
	}
	return nil
}

// unseen is the rule of acquire.CheckText, which this package does not know; a test in server holds the two together.
func unseen(r rune) bool {
	const nonJoiner, joiner = '\u200c', '\u200d'
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) && r != nonJoiner && r != joiner
}

func checkTitle(what, name string) error {
	if !utf8.ValidString(name) || utf8.RuneCountInString(name) > mostName {
		return fmt.Errorf("board: name of the %s: it must be one line of at most %d characters", what, mostName)
	}
	if i := strings.IndexFunc(name, unseen); i >= 0 {
		r, _ := utf8.DecodeRuneInString(name[i:])
		return fmt.Errorf("board: name %s of the %s: it has the sign U+%04X, which is not seen or may turn the text around; it must be one line, so leave it out", strconv.QuoteToASCII(name), what, r)
	}
	return nil
}

func (b *Board) checkStage(i int) error {
	s := &b.Stages[i]
	where := fmt.Sprintf("stage %d (%s)", i+1, short([]byte(s.Kind)))
	k, ok := kindOf(s.Kind)
	if !ok {
		return fmt.Errorf("board: %s: there is no such stage; choose %s", where, strings.Join(stageNames(), ", "))
	}
	if err := checkTitle(where, s.Name); err != nil {
		return err
	}
	if (i == 0) != k.sensor {
		return fmt.Errorf("board: %s: a board begins with phototransistor, photodiode, electrodes or generator, and has only one", where)
	}
	twoWires := i > 0 && b.Stages[i-1].Kind == electrodes
	if twoWires != (s.Kind == difference || s.Kind == instrumentation) {
		return fmt.Errorf("board: %s: electrodes are followed by difference or instrumentation, and nothing else is", where)
	}
	if s.Kind == electrodes && len(b.Stages) == 1 {
		return fmt.Errorf("board: %s: a difference or instrumentation stage must follow", where)
	}
	if s.PullUp && s.Kind != phototransistor && s.Kind != photodiode {
		return fmt.Errorf("board: %s: pullUp is for light sensors", where)
	}
	if s.OpAmp != nil {
		if k.opAmps == 0 {
			return fmt.Errorf("board: %s: it has no op amp", where)
		}
		if err := s.OpAmp.check(where, b.SupplyVolts); err != nil {
			return err
		}
	}
	for _, r := range k.roles {
		if _, ok := s.Parts[r.name]; !ok && !r.optional {
			return fmt.Errorf("board: %s: %s is missing", where, r.name)
		}
	}
	for name := range s.Parts {
		if !k.has(name) {
			return fmt.Errorf("board: %s: it has no part %q", where, short([]byte(name)))
		}
	}
	if s.Kind == sallenKey {
		_, feedback := s.Parts["feedback"]
		if _, leg := s.Parts["leg"]; feedback != leg {
			return fmt.Errorf("board: %s: give feedback and leg both, or neither for gain 1", where)
		}
	}
	return nil
}

var partName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]{0,15}$`)

// checkParts checks values, names and that no name stands twice.
func (b *Board) checkParts() error {
	seen := map[string]bool{}
	for _, c := range b.Components() {
		where := c.Where(b)
		limits := units[c.Unit]
		if !(c.Value >= limits.low && c.Value <= limits.high) {
			return fmt.Errorf("board: %s: %s of %g %s: it must be from %s to %s", where, c.Role, c.Value, c.Unit, Text(limits.low, c.Unit), Text(limits.high, c.Unit))
		}
		if !(c.Tolerance > 0 && c.Tolerance <= 0.5) {
			return fmt.Errorf("board: %s: %s: tolerance of %g: it must be a share above 0 and at most 0.5, as 0.05 for 5 %%", where, c.Role, c.Tolerance)
		}
		if subnormal(c.Tolerance) {
			return fmt.Errorf("board: %s: %s: tolerance of %g: it must be at least a millionth", where, c.Role, c.Tolerance)
		}
		if !(c.At >= 0 && c.At <= 1) {
			return fmt.Errorf("board: %s: %s stands at %g: it must be from 0 to 1", where, c.Role, c.At)
		}
		if c.placed && c.Letter != "P" {
			return fmt.Errorf("board: %s: %s: only a trimmer has a place to stand at", where, c.Role)
		}
		if !partName.MatchString(c.Ref) {
			return fmt.Errorf("board: %s: %s: name %q: a letter, then up to 15 letters, digits or _", where, c.Role, short([]byte(c.Ref)))
		}
		if key := strings.ToLower(c.element()); seen[key] {
			return fmt.Errorf("board: %s: %s: the name %s stands at two parts", where, c.Role, c.Ref)
		} else {
			seen[key] = true
		}
	}
	return nil
}

// opAmp is the stage's op amp.
func (b *Board) opAmp(stage int) OpAmp {
	if stage >= 0 && b.Stages[stage].OpAmp != nil {
		return *b.Stages[stage].OpAmp
	}
	if b.OpAmp != nil {
		return *b.OpAmp
	}
	return classes[QuadBipolar]
}

// Band is what matters of the board's kind: lowest and highest frequency.
func (b *Board) Band() (lowHz, highHz float64) {
	if b.Kind == "ecg" {
		return 0.5, 40
	}
	return 0.5, 15
}

// Component is one part of the circuit, with its name.
type Component struct {
	Ref       string  `json:"ref"`
	Stage     int     `json:"stage"` // −1: the mid-rail
	Role      string  `json:"role"`
	Unit      string  `json:"unit"`
	Value     float64 `json:"value"`
	Tolerance float64 `json:"tolerance"`
	At        float64 `json:"at,omitempty"` // of a trimmer
	Letter    string  `json:"-"`
	second    bool    // the other arm
	placed    bool
}

// Where says where the part belongs.
func (c *Component) Where(b *Board) string {
	if c.Stage < 0 {
		return "mid-rail"
	}
	return fmt.Sprintf("stage %d (%s)", c.Stage+1, b.Stages[c.Stage].Title())
}

// Bought reports whether the part is one that is chosen from preferred values: skin and a
// sensor's own capacitance are not.
func (c *Component) Bought() bool {
	return (c.Unit == "Ω" || c.Unit == "F") && c.Role != "skin" && c.Role != "capacitance"
}

// effective is what of the part's value is in the circuit.
func (c *Component) effective() float64 {
	if c.Letter == "P" {
		return c.Value * math.Max(c.At, trimmerEnd)
	}
	return c.Value
}

// trimmerEnd is what a trimmer keeps at its end, as a share.
const trimmerEnd = 1e-4

// element is the part's name in a netlist, where the first letter tells what it is.
func (c *Component) element() string {
	letter := c.Letter
	if letter == "P" {
		letter = "R"
	}
	if strings.EqualFold(c.Ref[:min(1, len(c.Ref))], letter) {
		return c.Ref
	}
	return letter + c.Ref
}

// Components are the parts of the circuit in order, mid-rail first; parts without a
// name get the next free number.
func (b *Board) Components() []Component {
	var all []Component
	add := func(stage int, r *role, p Part) {
		c := Component{Ref: p.Name, Stage: stage, Role: r.name, Unit: r.unit, Value: p.Value, Tolerance: p.Tolerance, Letter: r.letter}
		if c.Tolerance == 0 {
			c.Tolerance = units[r.unit].tolerance
			if r.letter == "P" {
				c.Tolerance = 0.2
			}
		}
		if r.letter == "P" {
			c.At = 0.5
		}
		if p.At != nil {
			c.At, c.placed = *p.At, true
		}
		if !r.twice {
			all = append(all, c)
			return
		}
		other := c
		other.second = true
		if c.Ref != "" {
			c.Ref, other.Ref = c.Ref+"a", other.Ref+"b"
		}
		all = append(all, c, other)
	}
	if m := b.MidRail; m != nil {
		add(-1, &role{name: "top", unit: "Ω", letter: "R"}, m.Top)
		add(-1, &role{name: "bottom", unit: "Ω", letter: "R"}, m.Bottom)
		if m.Bypass != nil {
			add(-1, &role{name: "bypass", unit: "F", letter: "C"}, *m.Bypass)
		}
	}
	for i := range b.Stages {
		k, _ := kindOf(b.Stages[i].Kind)
		for j := range k.roles {
			if p, ok := b.Stages[i].Parts[k.roles[j].name]; ok {
				add(i, &k.roles[j], p)
			}
		}
	}
	number(all)
	return all
}

// number names the parts that have no name.
func number(all []Component) {
	taken := map[string]bool{}
	for i := range all {
		taken[strings.ToUpper(all[i].Ref)] = true
	}
	next := map[string]int{}
	for i := range all {
		c := &all[i]
		for c.Ref == "" {
			next[c.Letter]++
			if name := fmt.Sprintf("%s%d", c.Letter, next[c.Letter]); !taken[name] {
				c.Ref = name
			}
		}
	}
}

// With is a copy of the board with one part's value changed. A part that stands twice
// is changed in both arms, since the file gives it once.
func (b *Board) With(ref string, v float64) (*Board, error) {
	return b.edit(ref, func(p *Part) { p.Value = v })
}

// WithTrimmer is a copy with a trimmer turned to a place from 0 to 1.
func (b *Board) WithTrimmer(ref string, at float64) (*Board, error) {
	return b.edit(ref, func(p *Part) { p.At = &at })
}

func (b *Board) edit(ref string, change func(p *Part)) (*Board, error) {
	for _, c := range b.Components() {
		if c.Ref != ref {
			continue
		}
		n := b.copy()
		if c.Stage >= 0 {
			p := n.Stages[c.Stage].Parts[c.Role]
			change(&p)
			n.Stages[c.Stage].Parts[c.Role] = p
		} else {
			change(map[string]*Part{"top": &n.MidRail.Top, "bottom": &n.MidRail.Bottom, "bypass": n.MidRail.Bypass}[c.Role])
		}
		return n, n.Check()
	}
	return nil, fmt.Errorf("board: there is no part %q", short([]byte(ref)))
}

// copy shares nothing that edit changes.
func (b *Board) copy() *Board {
	n := *b
	n.Stages = append([]Stage(nil), b.Stages...)
	for i := range n.Stages {
		parts := map[string]Part{}
		for k, p := range n.Stages[i].Parts {
			parts[k] = p
		}
		n.Stages[i].Parts = parts
	}
	if b.MidRail != nil {
		m := *b.MidRail
		if m.Bypass != nil {
			p := *m.Bypass
			m.Bypass = &p
		}
		n.MidRail = &m
	}
	return &n
}

// WithoutSensor is the board as a sweep sees it: a source of 50 Ω in place of a light
// sensor; electrodes stay, since they are fed the same way.
func (b *Board) WithoutSensor() *Board {
	n := b.copy()
	if n.Stages[0].Kind == phototransistor || n.Stages[0].Kind == photodiode {
		n.Stages[0] = Stage{Kind: generator, Name: b.Stages[0].Title(), Parts: map[string]Part{"source": {Value: 50}}}
	}
	return n
}
