package beat

// ecgParams are the ECG detector's settings. Seconds, hertz and plain ratios: none
// depends on the input's unit or rate.
type ecgParams struct {
	qrsLowHz, qrsHighHz                  float64 // band of the level
	shapeLowHz, shapeHighHz              float64 // band of the shapes
	windowSeconds                        float64 // the level is the rms over this
	nearSeconds                          float64 // a candidate is the greatest level within ± this
	aheadSeconds                         float64 // judged so long after the maximum
	refractorySeconds                    float64 // of two this near only one is a beat
	spikeSeconds, narrowShare, stepShare float64
	locateSeconds                        float64 // R is sought within ± this of the level's maximum

	usualRank                          float64
	novelty                            float64
	earlyWeight, unsteady              float64
	strangeWeight                      float64
	tWaveEnd, tWaveBlunt               float64
	waneShare, waneSeconds, aheadShare float64
	signalShare                        float64 // threshold, share of the usual beat's level
	floorRatio                         float64 // a beat stands so far above the background
	noiseWeight                        float64 // how much a strange shape costs in noise
	noiseFull                          float64 // background over signal at which noise counts fully
	agreeLow                           float64 // correlation of a wholly strange shape
	agreeStray                         float64 // correlation of a known one
	tWaveSeconds                       float64 // so long after a beat a T wave may come
	tWaveShare                         float64 // and is smaller than this share of it
	backRatio                          float64 // search-back after this many usual intervals
	backShare                          float64 // with this share of the threshold
	backAgree                          float64 // and this correlation
	lostSeconds                        float64 // without a beat: start anew
	backRise                           float64
	restartSeconds                     float64
	startRatio                         float64 // at the start: beats stand so far above the background
	startStray                         float64 // and are alike
	startShare                         float64 // share of the second greatest level
	startLoners                        float64 // share of candidates that must be alike
	joinStray                          float64 // a beat joins the kind it correlates with so much
}

func defaultECGParams() ecgParams {
	return ecgParams{
		qrsLowHz: 8, qrsHighHz: 20,
		shapeLowHz: 3, shapeHighHz: 25,
		windowSeconds: 0.1, nearSeconds: 0.06, aheadSeconds: 0.2,
		refractorySeconds: 0.2, locateSeconds: 0.07, spikeSeconds: 0.014, narrowShare: 0.45, stepShare: 0.6,
		signalShare: 0.35, floorRatio: 1.6, noiseWeight: 0.75, noiseFull: 0.4,
		usualRank: 0.5, novelty: 0.3, earlyWeight: 0.4, unsteady: 0.15, strangeWeight: 0.3, tWaveEnd: 0.55, tWaveBlunt: 0.3, waneShare: 1.2, waneSeconds: 0.48, aheadShare: 0.7,
		agreeLow: 0.3, agreeStray: 0.05,
		tWaveSeconds: 0.38, tWaveShare: 0.5,
		backRatio: 1.5, backShare: 0.4, backAgree: 0.6,
		lostSeconds: 3, backRise: 4, restartSeconds: 6.5, startRatio: 3, startStray: 0.15, startShare: 0.3, startLoners: 0.25,
		joinStray: 0.2,
	}
}
