package publish

import (
	"errors"
	"strconv"
	"strings"
	"time"
)

var errDuration = errors.New("read duration: a time like PT1M30S (PTxHxMxS) is due")

// parseDuration reads the convention's duration, PTxHxMxS of ISO 8601: whole numbers,
// at least one part, in this order, above zero and at most 24 h.
func parseDuration(s string) (time.Duration, error) {
	rest, ok := strings.CutPrefix(s, "PT")
	if !ok || rest == "" || len(s) > 32 {
		return 0, errDuration
	}
	var sum int64
	for _, part := range []struct {
		letter  string
		seconds int64
	}{{"H", 3600}, {"M", 60}, {"S", 1}} {
		digits, after, found := strings.Cut(rest, part.letter)
		if !found {
			continue
		}
		n, err := strconv.ParseUint(digits, 10, 24)
		if err != nil {
			return 0, errDuration
		}
		sum, rest = sum+int64(n)*part.seconds, after
	}
	if rest != "" || sum <= 0 || sum > 24*3600 {
		return 0, errDuration
	}
	return time.Duration(sum) * time.Second, nil
}
