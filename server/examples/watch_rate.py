#!/usr/bin/env python3
"""Prints the rate of channel 0 once a second, or the reason for none.

Usage: watch_rate.py [ADDRESS] [SECONDS], such as watch_rate.py http://127.0.0.1:8147 60
Needs nothing but Python. A learning aid, not a medical device.
"""
import json
import sys
import time
import urllib.request

address = sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8147"
seconds = int(sys.argv[2]) if len(sys.argv) > 2 else 60

for _ in range(seconds):
    with urllib.request.urlopen(address + "/api/v1/channels/0/reading", timeout=10) as answer:
        reading = json.load(answer)
    if reading["state"] == "reading":
        print(f"{reading['rateBpm']:.0f} bpm, quality {reading['quality']:.2f}", flush=True)
    else:
        print(f"no rate: {reading['reason']}", flush=True)
    time.sleep(1)
