package publish

import (
	"encoding/json"
	"strings"
	"time"

	"rillgate/zones"
)

func alertID(a *zones.AlarmView) string {
	return asID(string(a.Code)) + "-" + asID(a.Subject)
}

// alertText is what a person reads of an alarm.
func alertText(a *zones.AlarmView) string {
	if a.Because == "" {
		return string(a.Code) + ": " + a.Subject
	}
	return string(a.Code) + ": " + a.Because
}

type alarmJSON struct {
	Code         zones.Reason `json:"code"`
	Subject      string       `json:"subject"`
	Since        string       `json:"since"`
	Because      string       `json:"because"`
	Acknowledged bool         `json:"acknowledged"`
}

// alarmList is the retained list of all alarms that stand, `[]` when there is none.
// Which alarms stand is told at once, other numbers in a sentence in their time.
func alarmList(as []zones.AlarmView) value {
	list := make([]alarmJSON, 0, len(as))
	key := make([]string, 0, len(as))
	for i := range as {
		a := &as[i]
		list = append(list, alarmJSON{a.Code, a.Subject, stamp(a.Since), clean(a.Because), a.Acknowledged})
		mark := " "
		if a.Acknowledged {
			mark = "+"
		}
		key = append(key, string(a.Code)+mark+a.Subject)
	}
	b, err := json.Marshal(list)
	if err != nil {
		return gone
	}
	return value{text: string(b), pace: sentence, key: strings.Join(key, "\n")}
}

// stamp is an instant in UTC with milliseconds.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z07:00") }
