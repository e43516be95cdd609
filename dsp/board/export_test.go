package board

// ResponseWith is the response with one component, of one arm where there are two, at a
// factor of its value.
func ResponseWith(b *Board, ref string, factor float64, freqHz []float64) []complex128 {
	components := b.Components()
	values := make([]float64, len(components))
	for i := range components {
		values[i] = components[i].effective()
		if components[i].Ref == ref {
			values[i] *= factor
		}
	}
	return b.build(components, values).response(freqHz)
}
