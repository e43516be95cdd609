package board

// builder makes a circuit of a board.
type builder struct {
	circuit
	board      *Board
	components []Component
	values     []float64 // of the components, as they are in the circuit
}

// build makes the circuit; values, of the length of components, replace the parts' own
// when not nil.
func (b *Board) build(components []Component, values []float64) *circuit {
	if values == nil {
		values = make([]float64, len(components))
		for i := range components {
			values[i] = components[i].effective()
		}
	}
	k := &builder{board: b, components: components, values: values}
	k.names = []string{"0"}
	k.sources = append(k.sources, fixed{name: "supply", node: k.node("supply"), volts: b.SupplyVolts})
	k.in = k.node("in")
	k.sources = append(k.sources, fixed{name: "vin", node: k.in})
	k.midRail()
	var p port
	for i := range b.Stages {
		p = k.stage(i, p)
		k.ports = append(k.ports, p)
	}
	k.out = p.plus
	k.names[k.out] = "out"
	k.assemble()
	return &k.circuit
}

func (k *builder) node(name string) int {
	k.names = append(k.names, name)
	return len(k.names) - 1
}

// inside is a node of a stage.
func (k *builder) inside(stage int, name string) int {
	return k.node("s" + string(rune('a'+stage)) + "_" + name)
}

// place is a stage, -1 for the mid-rail, or the second of what it has twice.
type place struct {
	stage  int
	second bool
}

// part finds a component; ok tells that the stage has it.
func (k *builder) part(at place, role string) (int, bool) {
	for i, c := range k.components {
		if c.Stage == at.stage && c.Role == role && c.second == at.second {
			return i, true
		}
	}
	return 0, false
}

// put lays a part between two nodes; it tells false when the stage has none.
func (k *builder) put(at place, role string, a, b int) bool {
	i, ok := k.part(at, role)
	if !ok {
		return false
	}
	e := twoNode{a, b, k.values[i], i}
	if k.components[i].Unit == "F" {
		k.capacitors = append(k.capacitors, e)
	} else {
		k.resistors = append(k.resistors, e)
	}
	return true
}

// row lays parts in series from a to b, those that the stage has.
func (k *builder) row(at place, a, b int, roles ...string) {
	var have []string
	for _, r := range roles {
		if _, ok := k.part(at, r); ok {
			have = append(have, r)
		}
	}
	for i, r := range have {
		to := b
		if i < len(have)-1 {
			to = k.inside(at.stage, r+map[bool]string{true: "2"}[at.second])
		}
		k.put(at, r, a, to)
		a = to
	}
}

func (k *builder) opAmp(stage, plus, minus, out int) {
	limits := k.board.opAmp(stage)
	k.amplifiers = append(k.amplifiers, amplifier{plus: plus, minus: minus, out: out, limits: limits, stage: stage})
	if limits.BiasAmps != 0 {
		k.flows = append(k.flows, flow{"", ground, plus, limits.BiasAmps, false}, flow{"", ground, minus, limits.BiasAmps, false})
	}
}

func (k *builder) midRail() {
	m := k.board.MidRail
	if m == nil {
		return
	}
	k.middle = k.node("mid")
	here, tap := place{-1, false}, k.middle
	if m.Buffered {
		tap = k.node("tap")
		k.opAmp(-1, tap, k.middle, k.middle)
	}
	k.put(here, "top", k.sources[0].node, tap)
	k.put(here, "bottom", tap, ground)
	k.put(here, "bypass", tap, ground)
}

// stage lays stage i behind a port and gives the port that it hands on.
func (k *builder) stage(i int, from port) port {
	in := from.plus
	switch k.board.Stages[i].Kind {
	case phototransistor, photodiode:
		return k.light(i)
	case electrodes:
		return k.electrodes(i)
	case difference:
		return k.differenceAmplifier(i, from)
	case instrumentation:
		return k.instrumentation(i, from)
	}
	here, out := place{i, false}, k.inside(i, "out")
	switch k.board.Stages[i].Kind {
	case generator:
		k.put(here, "source", k.in, out)
	case coupling:
		k.put(here, "capacitor", in, out)
		k.put(here, "resistor", out, k.middle)
	case lowPass:
		k.row(here, in, out, "resistor", "trimmer")
		k.put(here, "capacitor", out, ground)
	case divider:
		k.put(here, "top", in, out)
		k.put(here, "bottom", out, ground)
		k.put(here, "capacitor", out, ground)
	case buffer:
		k.opAmp(i, in, out, out)
	case nonInverting:
		minus := k.inside(i, "minus")
		k.opAmp(i, in, minus, out)
		k.feedback(i, minus, out)
		k.row(here, minus, k.middle, "leg", "legCapacitor")
	case inverting:
		minus := k.inside(i, "minus")
		k.opAmp(i, k.middle, minus, out)
		k.feedback(i, minus, out)
		k.row(here, in, minus, "inCapacitor", "in")
	case sallenKey:
		k.sallenKey(i, in, out)
	}
	return port{out, ground}
}

func (k *builder) feedback(i, minus, out int) {
	here := place{i, false}
	k.row(here, minus, out, "feedback", "trimmer")
	k.put(here, "feedbackCapacitor", minus, out)
}

func (k *builder) sallenKey(i, in, out int) {
	here := place{i, false}
	between, plus, minus := k.inside(i, "between"), k.inside(i, "plus"), out
	k.put(here, "first", in, between)
	k.put(here, "second", between, plus)
	k.put(here, "feedbackCapacitor", between, out)
	k.put(here, "capacitor", plus, ground)
	if _, ok := k.part(here, "leg"); ok {
		minus = k.inside(i, "minus")
		k.put(here, "feedback", minus, out)
		k.put(here, "leg", minus, k.middle)
	}
	k.opAmp(i, plus, minus, out)
}

// light is a current with the light into a load.
func (k *builder) light(i int) port {
	here := place{i, false}
	out := k.inside(i, "out")
	lamp, _ := k.part(here, "lamp")
	transfer, _ := k.part(here, "transfer")
	amps := k.values[lamp] * k.values[transfer]
	supply := k.sources[0].node
	from, to, load, across := supply, out, ground, supply
	if k.board.Stages[i].PullUp {
		from, to, load, across = out, ground, supply, ground
	}
	k.controlled = append(k.controlled, controlled{name: "Glight", a: from, b: to, from: k.in, gain: amps, amps: true})
	k.flows = append(k.flows, flow{"Ilight", from, to, amps, true})
	k.put(here, "load", out, load)
	k.put(here, "capacitance", out, across)
	return port{out, ground}
}

// electrodes are half of the volts above and half below the body.
func (k *builder) electrodes(i int) port {
	body := k.inside(i, "body")
	k.put(place{i, false}, "third", body, k.middle)
	wire := func(name string, second bool, gain float64) int {
		e, out := k.inside(i, "at_"+name), k.inside(i, name)
		k.controlled = append(k.controlled, controlled{name: "Ebody_" + name, a: e, b: body, from: k.in, gain: gain})
		k.row(place{i, second}, e, out, "skin", "series")
		k.put(place{i, second}, "bias", out, k.middle)
		return out
	}
	return port{wire("plus", false, 0.5), wire("minus", true, -0.5)}
}

func (k *builder) differenceAmplifier(i int, from port) port {
	here, twin := place{i, false}, place{i, true}
	plus, minus, out := k.inside(i, "plus"), k.inside(i, "minus"), k.inside(i, "out")
	k.opAmp(i, plus, minus, out)
	k.put(here, "in", from.minus, minus)
	k.put(here, "feedback", minus, out)
	k.put(here, "feedbackCapacitor", minus, out)
	k.put(twin, "in", from.plus, plus)
	k.put(twin, "feedback", plus, k.middle)
	k.put(twin, "feedbackCapacitor", plus, k.middle)
	return port{out, ground}
}

func (k *builder) instrumentation(i int, from port) port {
	here := place{i, false}
	upper, lower := k.inside(i, "upper"), k.inside(i, "lower")
	upperMinus, lowerMinus := k.inside(i, "uminus"), k.inside(i, "lminus")
	k.opAmp(i, from.plus, upperMinus, upper)
	k.opAmp(i, from.minus, lowerMinus, lower)
	k.put(here, "arm", upper, upperMinus)
	k.put(place{i, true}, "arm", lower, lowerMinus)
	k.put(here, "gain", upperMinus, lowerMinus)
	return k.differenceAmplifier(i, port{upper, lower})
}
