package server

import (
	"context"
	"fmt"
	"testing"
	"time"
)

// TestFullListenerStillLetsNewAddressesIn: with most connections taken only addresses that
// hold fewer than fewConnections get in, and with a quarter more nobody.
func TestFullListenerStillLetsNewAddressesIn(t *testing.T) {
	l := newCrowdedListener(nil, 100, 50)
	for n := range 2 {
		for range 50 {
			if !l.admit(fmt.Sprint("crowd ", n)) {
				t.Fatal("refused before the listener is full")
			}
		}
	}
	l.leave("crowd 0")
	if !l.admit("crowd 0") {
		t.Error("refused in the place of one that left")
	}
	l.leave("crowd 0") // one holds 49: below its own bound
	l.admit("guest 0")
	if l.admit("crowd 0") {
		t.Error("an address that holds many got in beyond the bound of all")
	}
	for n := 1; n < 25; n++ {
		if !l.admit(fmt.Sprint("guest ", n)) {
			t.Fatalf("guest %d, who holds nothing, is refused with %d connections", n, l.all)
		}
	}
	for l.all < 125 {
		if !l.admit("guest last") {
			t.Fatalf("refused with %d connections", l.all)
		}
	}
	if l.admit("late") {
		t.Error("somebody got in beyond the bound and a quarter")
	}
}

// TestVisitorsAreBounded: beyond mostVisitors from many addresses whoever has been idle
// makes room, and without one nobody else gets in.
func TestVisitorsAreBounded(t *testing.T) {
	now := time.Now()
	a := &Access{}
	for n := range mostVisitors {
		v := &Visitor{Address: fmt.Sprint("address ", n), role: Watcher, asked: now}
		v.gone, v.revoke = context.WithCancelCause(t.Context())
		a.visitors = append(a.visitors, v)
	}
	if a.room("new", now) {
		t.Error("there is room though 1000 are here and none is idle")
	}
	idle := a.visitors[500]
	idle.asked = now.Add(-time.Hour)
	if !a.room("new", now) || len(a.visitors) != mostVisitors-1 || idle.gone.Err() == nil {
		t.Errorf("who was idle for an hour makes no room: %d visitors, %v", len(a.visitors), idle.gone.Err())
	}
}
