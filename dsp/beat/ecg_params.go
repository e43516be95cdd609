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

	// Feature and threshold.
	signalShare   float64 // threshold, share of the usual beat, where the background is a tenth of it
	floorPower    float64 // it rises with this power of the background
	floorLeast    float64 // and the background counts as at least this share of a beat
	floorRatio    float64 // a beat's level is at least so many backgrounds
	strangeWeight float64 // exponent of a wholly strange shape
	novelty       float64 // how much a shape seen once only counts as strange
	joinStray     float64 // a beat joins the kind it correlates with but for this
	earlyWeight   float64 // exponent of a beat at half the interval of a steady rhythm, in noise
	unsteady      float64 // stray of the intervals, share, at which no rhythm is steady
	noiseFull     float64 // background, share of a beat, that counts as noise fully

	// T waves and tails.
	waneShare, waneSeconds float64 // share of the last beat that another needs at first, and how long it falls
	tWaveEnd               float64 // a T wave ends so long after R, seconds at an interval of 1 s
	tWaveBlunt             float64 // and has at most this share of a beat's slope
	tailBlunt              float64 // or this, where it is of the height expected
	tailTimes              float64 // that is, at most so many times what followed such beats before
	tailReach              float64 // seconds it may come earlier or later
	tailGuard              float64 // seconds before a beat that belong to it

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
}

// defaultECGParams holds values of the literature where there are some (band: Elgendi
// 2013; refractory time and search-back near Pan and Tompkins 1985; T wave's end near
// Bazett 1920), others set between what beats and T waves show in the 16 development
// records of the MIT-BIH database: slopes of 0.5 % of beats lie below 0.36 of the usual
// beat's, those of 1 % of T waves above 0.34. strangeWeight, floorPower and earlyWeight
// are near a logistic fit to these records with and without noise of nstdb added.
func defaultECGParams() ecgParams {
	return ecgParams{
		qrsLowHz: 8, qrsHighHz: 20, shapeLowHz: 3, shapeHighHz: 25,
		windowSeconds: 0.1, nearSeconds: 0.06, aheadSeconds: 0.2, aheadShare: 0.35,
		refractorySeconds: 0.16, locateSeconds: 0.07,
		spikeSeconds: 0.014, narrowShare: 0.3, stepShare: 0.6,

		signalShare: 0.19, floorPower: 0.3, floorLeast: 0.05, floorRatio: 1.6,
		strangeWeight: 1.75, novelty: 0.3, joinStray: 0.2,
		earlyWeight: 1.2, unsteady: 0.15, noiseFull: 0.15,

		waneShare: 1.1, waneSeconds: 0.28,
		tWaveEnd: 0.5, tWaveBlunt: 0.29,
		tailBlunt: 0.42, tailTimes: 1.5, tailReach: 0.05, tailGuard: 0.1,

		backRatio: 1.5, backShare: 0.5, backAgree: 0.6, backRise: 4,

		lostSeconds: 3, restartSeconds: 6.5, startRatio: 3, startStray: 0.15,
		startShare: 0.3, startLoners: 0.25, tWaveSeconds: 0.38, tWaveShare: 0.5,
	}
}
