package field

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"rillgate/zones"
)

const (
	maxBoot    = 32
	maxRun     = 24
	maxOutputs = 256
	maxUptime  = int64(100*365*24*time.Hour) / int64(time.Millisecond) // ms: deadlines reckoned from it fit into 64 bits of ns
	maxFence   = 1<<31 - 1                                             // epoch and seq stay under 2^31
)

// DecodeReport reads a controller's report. Members that the contract does not
// name are stepped over; outputs come in order of number.
func DecodeReport(controller string, payload []byte) (*zones.Report, *Fault) {
	s, f := newScanner(payload)
	if f != nil {
		return nil, f
	}
	r := &zones.Report{Controller: controller}
	var seen members
	if f := s.object(func(key string) *Fault { return reportMember(&s, r, key, &seen) }); f != nil {
		return nil, f
	}
	if f := s.end(); f != nil {
		return nil, f
	}
	if f := seen.want(causeReport, "boot", "uptime_ms", "epoch", "seq", "outputs"); f != nil {
		return nil, f
	}
	slices.SortFunc(r.Outputs, func(a, b zones.OutputReport) int { return cmp.Compare(a.Number, b.Number) })
	return r, nil
}

func reportMember(s *scanner, r *zones.Report, key string, seen *members) (f *Fault) {
	if f = seen.add(key); f != nil {
		return f
	}
	switch key {
	case "boot":
		r.Boot, f = s.token(causeReport, key, 1, maxBoot)
	case "uptime_ms":
		var ms int64
		ms, f = s.whole(causeReport, key, maxUptime)
		r.Uptime = time.Duration(ms) * time.Millisecond
	case "epoch", "seq":
		var n int64
		n, f = s.whole(causeReport, key, maxFence)
		if key == "epoch" {
			r.Epoch = uint32(n)
		} else {
			r.Seq = uint32(n)
		}
	case "outputs":
		var outputs members
		f = s.object(func(key string) *Fault { return outputMember(s, r, key, &outputs) })
	default:
		f = s.skip(1)
	}
	return f
}

func outputMember(s *scanner, r *zones.Report, key string, seen *members) *Fault {
	if f := seen.add(key); f != nil {
		return f
	}
	n, ok := plainNumber(key, maxOutput)
	if !ok {
		return fault(causeReport, "output %q: a number from 1 to %d is due", cut(key, 40), maxOutput)
	}
	if len(r.Outputs) == maxOutputs {
		return fault(causeTooMany, "more than %d outputs in one report", maxOutputs)
	}
	o := zones.OutputReport{Number: n, FlowLPM: -1}
	var has members
	if f := s.object(func(key string) *Fault { return outputState(s, &o, key, &has) }); f != nil {
		return f
	}
	r.Outputs = append(r.Outputs, o)
	return has.want(causeReport, "open")
}

func outputState(s *scanner, o *zones.OutputReport, key string, seen *members) (f *Fault) {
	if f = seen.add(key); f != nil {
		return f
	}
	switch key {
	case "open":
		o.Open, f = s.boolean(causeReport, key)
	case "run":
		if !s.null() {
			o.Run, f = s.token(causeReport, key, 0, maxRun)
		}
	case "flow_lpm":
		if !s.null() {
			o.FlowLPM, f = s.flow()
		}
	default:
		f = s.skip(3)
	}
	return f
}

// flow reads litres a minute, finite and not negative.
func (s *scanner) flow() (float64, *Fault) {
	s.peek()
	v, ok, f := s.number()
	if f != nil {
		return 0, f
	}
	if !ok || v < 0 {
		return 0, fault(causeReport, "flow_lpm: litres a minute, 0 or more, are due")
	}
	return v, nil
}

// DecodeStatus reads a status payload: online or offline, as bare words.
func DecodeStatus(controller string, payload []byte) (*zones.Status, *Fault) {
	switch string(payload) {
	case "online":
		return &zones.Status{Controller: controller, Online: true}, nil
	case "offline":
		return &zones.Status{Controller: controller}, nil
	}
	return nil, fault(causeStatus, "%s: online or offline, without quotes, is due", strconv.Quote(cut(string(payload), 40)))
}

// DecodeInput reads an input's payload, {"active":true}.
func DecodeInput(controller, id string, payload []byte) (*zones.InputState, *Fault) {
	s, f := newScanner(payload)
	if f != nil {
		return nil, f
	}
	in := &zones.InputState{Controller: controller, ID: id}
	var seen members
	f = s.object(func(key string) (f *Fault) {
		if f = seen.add(key); f != nil {
			return f
		}
		if key == "active" {
			in.Active, f = s.boolean(causeInput, key)
			return f
		}
		return s.skip(1)
	})
	if f == nil {
		f = s.end()
	}
	if f == nil {
		f = seen.want(causeInput, "active")
	}
	if f != nil {
		return nil, f
	}
	return in, nil
}
