package beat

// ecgParams are the ECG detector's settings. Seconds, hertz and plain ratios: none
// depends on the input's unit or rate. Each lies where the result hardly moves when it
// does: TestECGPerturbed holds them to that.
type ecgParams struct {
	qrsLowHz, qrsHighHz     float64 // band of the level
	shapeLowHz, shapeHighHz float64 // band of the shapes and slopes
	windowSeconds           float64 // the level is the rms over this
	nearSeconds             float64 // a candidate is the greatest level within ± this
	aheadSeconds            float64 // judged so long after the maximum
	aheadShare              float64 // and not where one so much greater follows within it
	refractorySeconds       float64 // of two this near only one is a beat
	locateSeconds           float64 // R is sought within ± this of the level's maximum
	spikeSeconds            float64 // a running median this long takes spikes off
	narrowShare             float64 // and leaves this share of a QRS's swing
	stepShare               float64 // a step's two levels differ by this share of the swing
	stepSharp               float64 // and it does this share of it within spikeSeconds,
	stepCalm                float64 // each level moving by less than this, or is flat after

	// Feature and threshold.
	signalShare   float64 // threshold, share of the usual beat, where the background is a tenth of it
	floorPower    float64 // it rises with this power of the background
	floorLeast    float64 // and the background counts as at least this share of a beat
	floorRatio    float64 // a beat's level is at least so many backgrounds
	strangeWeight float64 // exponent of a shape that no kind correlates with
	strangeMost   float64 // but not more than this
	bluntKind     float64 // a kind with less than this share of the usual slope vouches for less
	novelty       float64 // how much a shape seen once only counts as strange
	joinStray     float64 // a beat joins the kind it correlates with but for this
	earlyWeight   float64 // exponent of a beat at half the interval of a steady rhythm, in noise
	unsteady      float64 // stray of the intervals, share, at which no rhythm is steady
	noiseFull     float64 // background, share of a beat, that counts as noise fully

	// T waves and tails. Times after R are at an interval of 1 s.
	waneWeight  float64 // exponent of coming at the end of the refractory time at the last beat's level
	waneGain    float64 // and how it falls with the level, a power
	waneSeconds float64 // after which it is nothing
	tWaveEnd    float64 // a T wave ends about so long after R
	bluntShare  float64 // where beats have this share of a usual one's slope and more
	bluntWeight float64 // exponent of having a third of that
	tailWeight  float64 // exponent of being as great as what followed such beats before
	tailTimes   float64 // and nothing at so many times that
	tailReach   float64 // seconds it may come earlier or later
	tWaveNear   float64 // a beat sooner than this, seconds, with less than tWaveSteep of the
	tWaveSteep  float64 // last one's slope may be its T wave
	tailGuard   float64 // seconds before a beat that belong to it

	// Search-back.
	backRatio float64 // after this many usual intervals
	backShare float64 // with this share of the threshold
	backAgree float64 // and this correlation
	backRise  float64 // or so many backgrounds

	// Start, and start anew.
	lostSeconds    float64 // without a beat: start anew
	restartSeconds float64 // so long without a beat much smaller ones are looked for too
	startRatio     float64 // beats stand so many times above the background
	startStray     float64 // and correlate but for this
	startShare     float64 // and are this share of the second greatest
	startLoners    float64 // no more than this share are like no other
	tWaveSeconds   float64 // so long after one a T wave may come
	tWaveShare     float64 // and is smaller than this share of it
	tWaveBlunt     float64 // or has at most this share of its slope
}

// defaultECGParams holds values of the literature where there are some (band near Elgendi
// 2013; refractory time and search-back near Pan and Tompkins 1985; T wave's end after
// Bazett 1920). The weights are near a logistic fit to the candidates of the 16
// development records of the MIT-BIH database, with and without noise of nstdb added,
// each record judged by the fit to the 15 others, rounded, then moved to the middle of
// where the result hardly changes.
func defaultECGParams() ecgParams {
	return ecgParams{
		qrsLowHz: 8.8, qrsHighHz: 20, shapeLowHz: 3, shapeHighHz: 25,
		windowSeconds: 0.095, nearSeconds: 0.06, aheadSeconds: 0.2, aheadShare: 0.27,
		refractorySeconds: 0.16, locateSeconds: 0.07,
		spikeSeconds: 0.014, narrowShare: 0.3, stepShare: 0.6, stepSharp: 0.9, stepCalm: 0.25,

		signalShare: 0.137, floorPower: 0.3, floorLeast: 0.05, floorRatio: 1.6,
		strangeWeight: 2.45, strangeMost: 1.45, bluntKind: 0.3, novelty: 0.1, joinStray: 0.2,
		earlyWeight: 1.5, unsteady: 0.15, noiseFull: 0.15,

		waneWeight: 0.9, waneGain: 0.8, waneSeconds: 0.28,
		tWaveEnd: 0.6, bluntShare: 0.6, bluntWeight: 0.8, tailWeight: 0.9, tailTimes: 3, tailReach: 0.05, tWaveNear: 0.3, tWaveSteep: 0.85, tailGuard: 0.1,

		backRatio: 1.5, backShare: 0.85, backAgree: 0.6, backRise: 4,

		lostSeconds: 3, restartSeconds: 6.5, startRatio: 3, startStray: 0.15,
		startShare: 0.3, startLoners: 0.25, tWaveSeconds: 0.38, tWaveShare: 0.5, tWaveBlunt: 0.42,
	}
}
