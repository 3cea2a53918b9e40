package zones

// check holds the room to those invariants that its own state can show. A breach
// is a fault of this program: the shell closes everything and stops.
func (r *Room) check() {
	for _, s := range r.supplies {
		n := 0
		for _, z := range s.zones {
			if z.run != nil && z.run.valvesOn {
				n += len(z.run.outs)
			}
		}
		if n > s.cfg.MaxOpen && !r.shrunk(s) {
			r.breach("INV-6", sprintf("%d valves of supply %s are open, %d may be", n, s.cfg.ID, s.cfg.MaxOpen))
		}
	}
	for _, z := range r.zones {
		if run := z.run; run != nil && run.phase != recording {
			r.checkRun(z, run)
		}
	}
	for _, o := range r.outputs {
		if o.wanted && !r.held(o) {
			r.breach("INV-29", "output "+o.id.String()+" is commanded open without a run")
		}
	}
}

// shrunk reports whether a plan made the supply smaller under a run.
func (r *Room) shrunk(s *supply) bool {
	for _, z := range s.zones {
		if z.run != nil && z.run.plan != r.plan {
			return true
		}
	}
	return false
}

func (r *Room) held(o *output) bool {
	if o.master {
		return o.supply.masterOn
	}
	return o.zone != nil && o.zone.run != nil
}

func (r *Room) checkRun(z *zone, run *run) {
	if run.end-run.openAt > MaxRunCeiling {
		r.breach("INV-18", sprintf("run %s lasts %s", run.id, words(run.end-run.openAt)))
	}
	if r.t > run.end {
		r.breach("INV-1", sprintf("run %s is open past its end", run.id))
	}
	if r.storeBroken != "" && run.valvesOn {
		r.breach("INV-24", "run "+run.id+" goes on without a ledger")
	}
	if r.durable < run.rec {
		r.breach("INV-3", "run "+run.id+" opened before its charge was durable")
	}
	if run.evidence && !z.est.known {
		r.breach("INV-7", "run "+run.id+" goes on without enough probes")
	}
	if run.reason == Soak && z.soak == nil {
		r.breach("INV-19", "run "+run.id+" goes on after its soak ended")
	}
	for _, o := range run.outs {
		if o.wanted && o.deadline > r.t+LeaseMax {
			r.breach("INV-2", "output "+o.id.String()+" is granted for longer than a lease")
		}
		if o.mem.charge(run.id) == nil {
			r.breach("INV-4", "run "+run.id+" has no charge on "+o.id.String())
		}
	}
}

func (r *Room) breach(invariant, detail string) {
	r.out = append(r.out, &Breach{Invariant: invariant, Detail: detail})
}
