package zones

import "time"

// roomStanding lists every interlock of the room that refuses water now, in the order in
// which they are asked. Since is nil for those that are not latched and raise no
// alarm.
func (r *Room) roomStanding(t time.Duration) []StandingView {
	var out []StandingView
	add := func(on bool, code Reason, because func() string) {
		if on {
			out = append(out, r.stands(code, because()))
		}
	}
	nobody := &zone{} // words of the room name no zone
	add(t < r.holdTo || !r.epochSafe || r.ended, Starting, func() string { return startingWords(r, nobody, nil) })
	for _, code := range []Reason{SecondGateway, CrashLoop} {
		add(hasLatch(r.mem.Latches, code) != nil, code, func() string { return roomLatchWords(code)(r, nil, nil) })
	}
	add(isStopped(r, nobody, nil), StoppedByPerson, func() string { return stoppedWords(r, nil, nil) })
	add(r.storeBroken != "", StoreFailed, func() string { return storeWords(r, nil, nil) })
	add(isLeaking(r, nobody, nil), LeakFound, func() string { return leakWords(r, nil, nil) })
	add(!r.brokerUp, BrokerLost, func() string { return "the command connection to the broker is down" })
	add(isUnsure(r, nil, nil), ClockUnsure, func() string { return unsureWords })
	return out
}

// stands gives the view of one interlock of the room: since its latch, else since
// its alarm.
func (r *Room) stands(code Reason, because string) StandingView {
	v := StandingView{Code: code, Because: because}
	if l := hasLatch(r.mem.Latches, code); l != nil {
		v.Latched, v.Since = true, &l.Wall
	} else if a := r.alarm(code, r.plan.Room); a != nil {
		v.Since = &a.since
	}
	if v.Since != nil {
		at := *v.Since // the view shares nothing
		v.Since = &at
	}
	return v
}

func (r *Room) supplyView(s *supply, t time.Duration) SupplyView {
	v := SupplyView{ID: s.cfg.ID, MaxOpen: s.cfg.MaxOpen, MaxFlowLPM: s.cfg.MaxFlowLPH / 60, Reason: NoReason}
	for _, z := range s.zones {
		v.Zones = append(v.Zones, z.id)
		if z.waiting {
			v.Waiting = append(v.Waiting, z.id)
		}
	}
	for _, o := range r.outputs {
		if o.takes(s, t) {
			v.Open++
		}
	}
	if m := s.master; m != nil {
		v.Master = m.valve
		if l := hasLatch(m.mem.Latches, ValveMismatch); l != nil {
			v.Latches = append(v.Latches, LatchView{Code: l.Code, Since: l.Wall, Because: l.Because})
		}
	}
	v.Reason, v.Because = r.supplyReason(s, &v)
	return v
}

// supplyReason gives the first interlock that refuses the whole supply.
func (r *Room) supplyReason(s *supply, v *SupplyView) (Reason, string) {
	in := r.lowInput(s)
	switch {
	case len(v.Latches) > 0:
		return ValveMismatch, v.Latches[0].Because + "; `rillgate reset " + s.cfg.ID + "` lets water again"
	case s.master != nil && !s.master.ctl.usable():
		return ControllerOffline, controllerWords(s.master.ctl)
	case in != nil:
		return SupplyIsLow, lowWords(in)
	case v.Open >= s.cfg.MaxOpen:
		return SupplyBusy, sprintf("%d of %d valves are or may be open", v.Open, s.cfg.MaxOpen)
	}
	return NoReason, sprintf("free: %d of %d valves are or may be open", v.Open, s.cfg.MaxOpen)
}
