package field

import (
	"strconv"

	"rillgate/zones"
)

// MaxCommand is the longest command that a controller must take, bytes.
const MaxCommand = 256

// EncodeCommand writes a command as controllers read it. Ids within their bounds
// (run at most 24, boot at most 32 characters of a token) keep it under MaxCommand.
func EncodeCommand(c *zones.Command) []byte {
	b := make([]byte, 0, 160)
	b = append(b, `{"epoch":`...)
	b = strconv.AppendUint(b, uint64(c.Epoch), 10)
	b = append(b, `,"seq":`...)
	b = strconv.AppendUint(b, uint64(c.Seq), 10)
	b = append(b, `,"run":`...)
	b = appendToken(b, c.Run)
	if !c.Open {
		return append(b, `,"open":false}`...)
	}
	b = append(b, `,"open":true,"boot":`...)
	b = appendToken(b, c.Boot)
	b = append(b, `,"until_ms":`...)
	b = strconv.AppendInt(b, c.UntilMS, 10)
	return append(b, '}')
}

// appendToken writes a string. Runs are ours and boots passed the report's rule, so
// nothing in them needs escaping; whatever does is left out, never written raw.
func appendToken(b []byte, s string) []byte {
	b = append(b, '"')
	for i := range len(s) {
		if !notToken(s[i]) {
			b = append(b, s[i])
		}
	}
	return append(b, '"')
}
