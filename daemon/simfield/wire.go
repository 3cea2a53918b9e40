package simfield

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"

	"rillgate/zones"
)

// packProbes bounds the probes in one pack, far under 64 KiB.
const packProbes = 100

// maxCommand is the longest command that is taken, bytes.
const maxCommand = 256

// encodeReadings writes readings of one controller as a SenML pack (RFC 8428): a base
// name a probe, moisture as a ratio, bulk EC in S/m, temperature in Cel.
func encodeReadings(all []*zones.Reading) []byte {
	b := make([]byte, 0, 180*len(all))
	b = append(b, '[')
	for i, m := range all {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendReading(b, m)
	}
	return append(b, ']')
}

func appendReading(b []byte, m *zones.Reading) []byte {
	b = append(b, `{"bn":"`...)
	b = strconv.AppendInt(b, int64(m.Place.Terminal), 10)
	b = append(b, ':')
	b = append(b, m.Place.Address...)
	b = append(b, `:",`...)
	if m.HasTime {
		b = append(b, `"bt":`...)
		b = appendNumber(b, float64(m.At.Milliseconds())/1000, 1e3)
		b = append(b, ',')
	}
	b = append(b, `"n":"moisture","u":"/","v":`...)
	b = appendNumber(b, float64(m.Moisture)/1e5, 1e5)
	b = append(b, '}')
	b = appendRecord(b, "ec", "S/m", m.EC/10)
	b = appendRecord(b, "temperature", "Cel", m.Temperature)
	if m.Serial != "" {
		b = append(b, `,{"n":"serial","vs":`...)
		b = append(appendText(b, m.Serial), '}')
	}
	return b
}

func appendRecord(b []byte, name, unit string, v float64) []byte {
	if math.IsNaN(v) {
		return b
	}
	b = append(b, `,{"n":"`...)
	b = append(b, name...)
	b = append(b, `","u":"`...)
	b = append(b, unit...)
	b = append(b, `","v":`...)
	return append(appendNumber(b, v, 1e5), '}')
}

// appendNumber writes v rounded to a step of 1/per.
func appendNumber(b []byte, v, per float64) []byte {
	return strconv.AppendFloat(b, math.Round(v*per)/per, 'f', -1, 64)
}

func appendText(b []byte, s string) []byte {
	quoted, err := json.Marshal(s)
	if err != nil {
		panic(err) // a string always can be
	}
	return append(b, quoted...)
}

// encodeReport writes a report.
func encodeReport(r *zones.Report) []byte {
	b := append(make([]byte, 0, 256), `{"boot":`...)
	b = appendText(b, r.Boot)
	b = append(b, `,"uptime_ms":`...)
	b = strconv.AppendInt(b, r.Uptime.Milliseconds(), 10)
	b = append(b, `,"epoch":`...)
	b = strconv.AppendUint(b, uint64(r.Epoch), 10)
	b = append(b, `,"seq":`...)
	b = strconv.AppendUint(b, uint64(r.Seq), 10)
	b = append(b, `,"outputs":{`...)
	for i := range r.Outputs {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendOutput(b, &r.Outputs[i])
	}
	return append(b, `}}`...)
}

func appendOutput(b []byte, o *zones.OutputReport) []byte {
	b = append(b, '"')
	b = strconv.AppendInt(b, int64(o.Number), 10)
	b = append(b, `":{"open":`...)
	b = strconv.AppendBool(b, o.Open)
	if o.Run != "" {
		b = append(b, `,"run":`...)
		b = appendText(b, o.Run)
	}
	if o.FlowLPM >= 0 {
		b = append(b, `,"flow_lpm":`...)
		b = appendNumber(b, o.FlowLPM, 1e3)
	}
	return append(b, '}')
}

func encodeStatus(online bool) []byte {
	if online {
		return []byte("online")
	}
	return []byte("offline")
}

func encodeInput(active bool) []byte {
	return append(strconv.AppendBool([]byte(`{"active":`), active), '}')
}

var errCommand = errors.New("read command")

// decodeCommand reads a command as a careful controller does: whole, in bounds, with
// nothing missing that it needs.
func decodeCommand(o zones.Output, payload []byte) (*zones.Command, error) {
	if len(payload) > maxCommand {
		return nil, fmt.Errorf("%w: %d bytes, %d at most", errCommand, len(payload), maxCommand)
	}
	var in struct {
		Epoch, Seq *uint32
		Run        string
		Open       *bool
		Boot       string
		UntilMS    *int64 `json:"until_ms"`
	}
	if err := json.Unmarshal(payload, &in); err != nil {
		return nil, fmt.Errorf("%w: %w", errCommand, err)
	}
	switch {
	case in.Epoch == nil || in.Seq == nil || in.Open == nil:
		return nil, fmt.Errorf("%w: epoch, seq and open are due", errCommand)
	case *in.Open && (in.UntilMS == nil || in.Boot == "" || in.Run == ""):
		return nil, fmt.Errorf("%w: to open, run, boot and until_ms are due", errCommand)
	case len(in.Run) > 24 || len(in.Boot) > 32:
		return nil, fmt.Errorf("%w: run is longer than 24, or boot than 32", errCommand)
	}
	c := &zones.Command{Output: o, Epoch: *in.Epoch, Seq: *in.Seq, Run: in.Run, Open: *in.Open, Boot: in.Boot}
	if in.UntilMS != nil {
		c.UntilMS = *in.UntilMS
	}
	return c, nil
}
