# What is asked for by hand; .ci/run runs what must hold before a change lands.
SHELL := /bin/bash

# run: the program, with the sound card as an input where PortAudio is found;
# make run ARGS="-source sound:default". Without it the page's browser brings sound in.
run:
	go run $$(pkg-config --exists portaudio-2.0 2>/dev/null && echo '-tags portaudio') . $(ARGS)

# fuzz: every parser's fuzzer for FUZZTIME each. What one finds is kept in the
# package's testdata/fuzz and is a test case from then on.
FUZZTIME ?= 10m
fuzz:
	@set -e; for file in $$(grep -rl '^func Fuzz' --include='*_test.go' . | sort); do \
	  for name in $$(sed -n 's/^func \(Fuzz[A-Za-z0-9]*\)(.*/\1/p' $$file); do \
	    echo "== $$(dirname $$file) $$name $(FUZZTIME)"; \
	    go test -run '^$$' -fuzz "^$$name\$$" -fuzztime $(FUZZTIME) $$(dirname $$file); \
	  done; done

# soak: a board of 1000 lines a second recorded for SOAK, its cable pulled a hundred
# times, the program stopped for half a minute, then a simulated day a hundred times
# faster: memory, goroutines and files must stay flat.
SOAK ?= 1h
soak:
	PULSEWRIGHT_SOAK=$(SOAK) go test -run '^TestSoak|^TestUnplugged|^TestProgramStopped' -v -timeout 0 ./server/command

# load: 200 watchers of one recorded board for LOAD, slow, frozen and vanishing ones
# among them: no line lost; prints processor time, memory and delays.
LOAD ?= 5m
load:
	PULSEWRIGHT_LOAD=$(LOAD) go test -run '^TestManyWatchers$$' -v -timeout 0 ./server/command

# bench: each figure beside what it is measured against, in the same run; DEVELOPERS.md
# keeps the table. The filters take their turns on one core.
bench:
	/usr/bin/python3 dsp/filter/testdata/bench.py
	@set -o pipefail; for b in './dsp/spectrum WelchBesideScipy 5x' './acquire/recording ReadBesideLibedf 5x' \
	  './server/command Latency 2000x' './server/command Live 20x'; do \
	  set -- $$b; go test -run '^$$' -bench "^Benchmark$$2\$$" -benchtime $$3 $$1 | grep -E '^(Benchmark|FAIL|---|SKIP)' || exit 1; done

# screenshot: the picture of the README, anew.
screenshot:
	PULSEWRIGHT_SCREENSHOT=$(CURDIR)/web/screenshot.png go test -count 1 -run '^TestScreenshot$$' ./server/command

.PHONY: run fuzz soak load hostile bench screenshot loops figures

# loops: what beginners write, on a simulated board, for half a minute (gcc-avr, libsimavr-dev).
loops:
	PULSEWRIGHT_LOOP=1 go test -run BeginnersLoop -parallel 4 -v ./acquire/serialport

# figures: the ECG detector beside the textbook's two moving averages on every record,
# second lead, hum and noise, and what each rule of both detectors is worth (dsp/beat/METHOD.md).
figures:
	PULSEWRIGHT_FIGURES=1 go test -run '^Test(ECG(BesidePeer|Ablation|Perturbed)|PulseAblation)$$' -v -timeout 0 ./dsp/beat

# hostile: HOSTILE damaged files of every kind are given to a program that records a board
# before 20 watchers: no end, no line lost, memory bounded.
HOSTILE ?= 2000
hostile:
	PULSEWRIGHT_HOSTILE=$(HOSTILE) go test -run '^TestHostile' -v -timeout 0 ./server/command
