package publish

import (
	"encoding/json"
	"slices"

	"rillgate/zones"
)

// allows reports whether the configuration lets set-topics ask this.
func (p *Publisher) allows(order string) bool { return slices.Contains(p.cfg.Orders, order) }

func judgeStop(a *ask, payload string) *verdict {
	switch payload {
	case "true":
		a.order.Kind = zones.OrderStop
		return nil
	case "false":
		return &verdict{false, reasonNotAllowed, "a stop ends only by `rillgate reset` at the gateway, never over MQTT"}
	}
	return &verdict{false, reasonBadValue, "true is due"}
}

// judgeHold: whether `false` may end the hold that stands (only one set over MQTT)
// is the core's to say.
func judgeHold(a *ask, payload string) *verdict {
	switch payload {
	case "true":
		a.order.Kind = zones.OrderHold
		return nil
	case "false":
		a.order.Kind = zones.OrderRelease
		return nil
	}
	return &verdict{false, reasonBadValue, "true or false is due"}
}

func judgeShot(a *ask, payload string) *verdict {
	d, err := parseDuration(payload)
	if err != nil {
		return &verdict{false, reasonBadValue, "a duration like PT1M30S (PTxHxMxS), above zero and at most 24 h, is due"}
	}
	a.order.Kind, a.order.For = zones.OrderShot, d
	return nil
}

// mustJSON encodes structs of texts and flags, which cannot fail.
func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b
}
