package beat

// ecgParams are the numbers by which the ECG detector decides. Seconds and plain ratios:
// none depends on the input's unit or rate. METHOD.md tells what each rule is for and what
// is lost without it. "Fit" are weights near those of a logistic regression on the
// candidates of the development records with and without nstdb noise, then lowered or
// rounded where invented rhythms (TestECGRhythms) or looking at errors asked for it.
type ecgParams struct {
	driftSeconds  float64 // the level's wave is a short mean less the mean over this; tried 50 to 100 ms
	smoothSeconds float64 // the short mean; tried 0 to 30 ms, longer bears muscle better
	windowSeconds float64 // the level is the rms of that wave over this; Elgendi 2013
	aroundSeconds float64 // and is held against the rms over this; Elgendi 2013
	aheadSeconds  float64 // a candidate is judged so long after its maximum; more tells later
	refractory    float64 // of two nearer than this, seconds, only one is a beat: up to 340 bpm
	bias          float64 // points for nothing; fit
	usualPoints   float64 // for each e-fold above the usual level; fit 3, more against P waves
	aroundPoints  float64 // for each e-fold above what is around; fit
	floorPoints   float64 // for each e-fold above the background; fit
	strayPoints   float64 // against a shape that correlates with no kind; fit
	timelyPoints  float64 // for a beat when a steady rhythm has one; fit 5, less for premature beats
	earlyPoints   float64 // and against one earlier than that by earlyShare
	earlyShare    float64 // of the usual interval
	soonPoints    float64 // against one soon after a beat, where its T wave lies; fit
	soonSeconds   float64 // and that is up to this
	behindPoints  float64 // against a slow wave soon after a quicker one: its T wave
	behindQuick   float64 // from this on, a logarithm, and in full from twice this
	ownLeast      int     // so many waves of a kind tell whether it is one of beats:
	asideMost     float64 // less than this share of them have a quicker wave near
	latePoints    float64 // against an interval so long that a beat may be missing
	lateFrom      float64 // beginning at so many usual ones
	lateShare     float64 // and in full so many later
	tPoints       float64 // given back to a weak wave that a T wave follows, for each e-fold below the usual level
	tFrom, tTo    float64 // which lies so long after it, seconds
	tEqual        float64 // share of them where both are of the same size; more with the logarithm of their ratio
	tQuick        float64 // and none where a wave stronger by this, a logarithm, is there: the QRS after a P wave
	lookSeconds   float64 // a beat is told when so much after it is known; 0.5 to 1.2 are alike
	surePoints    float64 // or sooner when it adds so many points to what may have happened
	weakShare     float64 // the rhythm counts in full where waves refused have this share of a usual level,
	weakRank      float64 // at this rank of the last ones
	lessShare     float64 // a wave soon after a beat that is weaker by this share is its T wave

	pairSeconds float64 // two sooner than this in every interval are a beat and its P or T wave
	alikeStray  float64 // beats of a kind correlate but for this

	startStray  float64 // at the start beats correlate but for this
	startTimes  float64 // stand so many times above the background
	startShare  float64 // and have this share of the second greatest
	lostSeconds float64 // without a beat: start anew
	startAround float64 // they have this share at least of what is around
	startSlope  float64 // of two nearer than backSeconds the second is this share as steep at least
	startAlike  float64 // and count as no more alike than this

	floorRank           float64 // the background is a level that this share of the last 2 s is lower than
	floorLeast          float64 // and this share of the usual level at least
	soonSteep           float64 // all points against an early beat so many times sooner than soonSeconds' end
	steadyShare         float64 // intervals that differ by this share in the middle are not steady
	pairTurns           float64 // of weak and strong in turn the weak have less than this share
	pairShort           float64 // of short and long in turn the short have less than this share
	pairNear            float64 // pairs are alike within this, seconds
	backSeconds         float64 // sooner after a beat none is looked for
	placeAlike          float64 // from this correlation on R is where the kind has it
	stepAlike           float64 // from this correlation on a step is a beat
	stepShare, stepCalm float64 // a step is this share of the range, calm on either side within that
}

func defaultECGParams() ecgParams {
	return ecgParams{
		driftSeconds: 0.07, smoothSeconds: 0.03, windowSeconds: 0.097, aroundSeconds: 0.611, aheadSeconds: 0.18,
		refractory: 0.16,
		bias:       2.2, usualPoints: 4, aroundPoints: 4, floorPoints: 0.5, strayPoints: 7,
		timelyPoints: 3, earlyPoints: 3.3, earlyShare: 0.3, soonPoints: 3, soonSeconds: 0.42,
		behindPoints: 5, behindQuick: 0.7,
		ownLeast: 4, asideMost: 0.1,
		latePoints: 1, lateFrom: 1.2, lateShare: 0.4,
		tPoints: 2, tFrom: 0.15, tTo: 0.42, tEqual: 0.5, tQuick: 0.4,
		lookSeconds: 0.8, surePoints: 5, weakShare: 0.4, weakRank: 0.8, lessShare: 0.4,
		pairSeconds: 0.33, alikeStray: 0.1,
		startStray: 0.15, startTimes: 3.5, startShare: 0.3, lostSeconds: 3,
		startAround: 1.14, startSlope: 0.5, startAlike: 0.89,
		floorRank: 0.3, floorLeast: 0.1, soonSteep: 3, steadyShare: 0.15,
		pairTurns: 0.8, pairShort: 5. / 7, pairNear: 0.04, backSeconds: 0.36, placeAlike: 0.8,
		stepAlike: 0.75, stepShare: 0.7, stepCalm: 0.2,
	}
}
