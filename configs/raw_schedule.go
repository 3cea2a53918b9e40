package configs

import (
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// What schedule.yaml says, value by value.
type (
	rawSchedule struct {
		zonesAt  place
		hasDay   bool
		days     []rawDay
		routines []rawRoutine
		crops    []rawCrop
		zones    []rawZonePlan
		alarms   []rawAlarm
		crons    int // cron windows that may still come, while they are checked
	}
	rawDay struct {
		at      place
		from    item[schedule.Date]
		on, off item[time.Duration]
	}
	rawRoutine struct {
		name    string
		at      place
		windows []rawWindow
	}
	rawWindow struct {
		at                            place
		name, cron                    item[string]
		from, until                   item[schedule.Edge]
		on                            item[schedule.Weekdays]
		length, rest                  item[time.Duration]
		below, stopAt, dryBack, floor item[zones.Level]
		shot                          item[schedule.Shot]
		maxShots                      item[int]
		withoutProbes                 item[bool]
		sound                         bool // set by the checks: it may be compared with others
	}
	rawCrop struct {
		name   string
		at     place
		day1   item[schedule.Date]
		stages []rawStage
		ends   item[int]
	}
	rawStage struct {
		at      place
		from    item[int]
		routine item[string]
		ease    item[time.Duration]
	}
	rawZonePlan struct {
		zone          string
		at            place
		none          bool
		crop, routine item[string]
		windows       []rawWindow
		isList        bool
		scale         schedule.Scale
		scaleAt       place
	}
	rawAlarm struct {
		zone  string // or "all"
		at    place
		below item[zones.Level]
		hold  item[time.Duration]
		pore  rawBand // mS/cm
		warm  rawBand // °C
	}
	rawBand struct {
		at           place
		below, above item[float64]
		hold         item[time.Duration]
	}
)
