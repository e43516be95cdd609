package board

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// ground is node 0 of every circuit.
const ground = 0

// twoNode is a resistor or a capacitor.
type twoNode struct {
	a, b  int
	value float64
	part  int // among the board's components
}

// amplifier is an op amp.
type amplifier struct {
	plus, minus, out int
	limits           OpAmp
	stage            int
	branch           int
}

// controlled is a source of gain·v(from) volts between a and b, or, when it is a
// current, of gain·v(from) amperes that flow out of a into b.
type controlled struct {
	name   string
	a, b   int
	from   int
	gain   float64
	amps   bool
	branch int
}

// fixed is a voltage source from a node to ground.
type fixed struct {
	name   string
	node   int
	volts  float64 // at rest
	branch int
}

// flow is a current in rest from a to b.
type flow struct {
	name string
	a, b int
	amps float64
	shot bool // it is made of single charges
}

// port is where a stage's signal stands: between two nodes.
type port struct{ plus, minus int }

// circuit is a board as a network.
type circuit struct {
	names      []string // of nodes
	resistors  []twoNode
	capacitors []twoNode
	amplifiers []amplifier
	controlled []controlled
	sources    []fixed
	flows      []flow
	ports      []port // ports[i] is what stage i hands on
	in, out    int
	vin        int // branch of the input source
	supply     int // branch of the supply
	middle     int // node of the mid-rail, ground without one
	size       int
	g, c       []float64 // size × size: (g + s c) x = b
}

// assemble numbers the branches and fills the matrices.
func (k *circuit) assemble() {
	n := len(k.names) - 1
	branch := func() int { n++; return n - 1 }
	for i := range k.sources {
		k.sources[i].branch = branch()
	}
	for i := range k.controlled {
		if !k.controlled[i].amps {
			k.controlled[i].branch = branch()
		}
	}
	for i := range k.amplifiers {
		k.amplifiers[i].branch = branch()
	}
	k.size = n
	k.g, k.c = make([]float64, n*n), make([]float64, n*n)
	for _, r := range k.resistors {
		k.between(k.g, r.a, r.b, 1/r.value)
	}
	for _, c := range k.capacitors {
		k.between(k.c, c.a, c.b, c.value)
	}
	for _, s := range k.sources {
		k.put(k.g, s.node-1, s.branch, 1)
		k.put(k.g, s.branch, s.node-1, 1)
	}
	for _, e := range k.controlled {
		if e.amps {
			k.put(k.g, e.a-1, e.from-1, e.gain)
			k.put(k.g, e.b-1, e.from-1, -e.gain)
			continue
		}
		k.put(k.g, e.a-1, e.branch, 1)
		k.put(k.g, e.b-1, e.branch, -1)
		k.put(k.g, e.branch, e.a-1, 1)
		k.put(k.g, e.branch, e.b-1, -1)
		k.put(k.g, e.branch, e.from-1, -e.gain)
	}
	for _, a := range k.amplifiers { // v(out)/A(s) − v(plus) + v(minus) = 0
		k.put(k.g, a.out-1, a.branch, 1)
		k.put(k.g, a.branch, a.out-1, 1/a.limits.OpenLoopGain)
		k.put(k.c, a.branch, a.out-1, 1/(2*math.Pi*a.limits.GainBandwidthHz))
		k.put(k.g, a.branch, a.plus-1, -1)
		k.put(k.g, a.branch, a.minus-1, 1)
	}
	for _, s := range k.sources {
		switch s.name {
		case "vin":
			k.vin = s.branch
		case "supply":
			k.supply = s.branch
		}
	}
}

// put adds to an element; row or column −1 is the ground.
func (k *circuit) put(m []float64, row, column int, v float64) {
	if row >= 0 && column >= 0 {
		m[row*k.size+column] += v
	}
}

func (k *circuit) between(m []float64, a, b int, v float64) {
	k.put(m, a-1, a-1, v)
	k.put(m, b-1, b-1, v)
	k.put(m, a-1, b-1, -v)
	k.put(m, b-1, a-1, -v)
}

// solver is the circuit at one complex frequency, factored.
type solver struct {
	n     int
	a     []complex128
	order []int
	x     []complex128
}

func newSolver(k *circuit) *solver {
	return &solver{n: k.size, a: make([]complex128, k.size*k.size), order: make([]int, k.size), x: make([]complex128, k.size)}
}

// set factors g + s·c: Gaussian elimination with row exchange by the largest element of
// a column. It tells false when the circuit has no solution there.
func (v *solver) set(k *circuit, s complex128) bool {
	n, a := v.n, v.a
	for i := range a {
		a[i] = complex(k.g[i], 0) + s*complex(k.c[i], 0)
	}
	for j := range n {
		p, most := j, 0.0
		for i := j; i < n; i++ {
			if m := cmplx.Abs(a[i*n+j]); m > most {
				p, most = i, m
			}
		}
		if !(most > 0) || math.IsInf(most, 0) {
			return false
		}
		v.order[j] = p
		if p != j {
			for i := range n {
				a[j*n+i], a[p*n+i] = a[p*n+i], a[j*n+i]
			}
		}
		pivot := 1 / a[j*n+j]
		for i := j + 1; i < n; i++ {
			if a[i*n+j] == 0 {
				continue
			}
			f := a[i*n+j] * pivot
			a[i*n+j] = f
			for c := j + 1; c < n; c++ {
				a[i*n+c] -= f * a[j*n+c]
			}
		}
	}
	return true
}

// solve replaces b by the solution x of A x = b.
func (v *solver) solve(b []complex128) {
	n, a := v.n, v.a
	for j, p := range v.order { // rows were exchanged whole, L's part too
		b[j], b[p] = b[p], b[j]
	}
	for i := range n {
		for j := range i {
			b[i] -= a[i*n+j] * b[j]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			b[i] -= a[i*n+j] * b[j]
		}
		b[i] /= a[i*n+i]
	}
}

// solveTransposed replaces b by the solution y of Aᵀ y = b: with b one at the output's
// node, y tells how much each current and each branch's volts do at the output.
func (v *solver) solveTransposed(b []complex128) {
	n, a := v.n, v.a
	for i := range n {
		for j := range i {
			b[i] -= a[j*n+i] * b[j]
		}
		b[i] /= a[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		for j := i + 1; j < n; j++ {
			b[i] -= a[j*n+i] * b[j]
		}
	}
	for j := n - 1; j >= 0; j-- {
		p := v.order[j]
		b[j], b[p] = b[p], b[j]
	}
}

// unit is a right side of zeros with a one.
func (v *solver) unit(at int) []complex128 {
	clear(v.x)
	v.x[at] = 1
	return v.x
}

// at is a node's volts in a solution.
func at(x []complex128, node int) complex128 {
	if node == ground {
		return 0
	}
	return x[node-1]
}

func (p port) of(x []complex128) complex128 { return at(x, p.plus) - at(x, p.minus) }

// poles are the circuit's, in 1/s: the solutions s of det(g + s c) = 0, as −1/λ of the
// eigenvalues λ of g⁻¹c. Those faster than a nanosecond are left out.
func (k *circuit) poles() []complex128 {
	n := k.size
	var m mat.Dense
	if err := m.Solve(mat.NewDense(n, n, append([]float64(nil), k.g...)), mat.NewDense(n, n, append([]float64(nil), k.c...))); err != nil {
		if _, bad := err.(mat.Condition); !bad {
			return nil
		}
	}
	var e mat.Eigen
	if !e.Factorize(&m, mat.EigenNone) {
		return nil
	}
	var all []complex128
	for _, l := range e.Values(nil) {
		if cmplx.Abs(l) > 1e-9 {
			all = append(all, -1/l)
		}
	}
	return all
}
