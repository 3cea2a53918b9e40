package configs

import (
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// What room.yaml says, value by value, before anything is compared. The checks read
// these, since they know the places; the plan is built from them last.
type (
	rawRoom struct {
		id, name, units item[string]
		zone            item[*time.Location]
		contacts        []rawContact
		controllers     []rawController
		supplies        []rawSupply
		suppliesAt      place
		valves          []rawValve
		healthy         *rawHealthy
		defaults        rawKeys
		house           rawHouse
		zones           []rawZone
	}
	rawContact    struct{ name, role, phone item[string] }
	rawController struct {
		at        place
		id        item[string]
		volts, va item[float64]
		powerKind item[string]
		terminals []rawTerminal
		inputs    []rawInput
	}
	rawTerminal struct {
		at      place
		number  item[int]
		layout  item[string]
		homeRun item[float64]
		cable   item[measured]
		volts   item[float64]
		draw    item[float64]
		probes  []rawProbe
	}
	rawProbe struct {
		at          place
		id, address item[string]
		zone, label item[string]
		lead, tail  item[float64]
		draw        item[float64]
		offset      item[zones.Level]
	}
	rawInput struct {
		at                 place
		id, means, contact item[string]
	}
	rawSupply struct {
		at      place
		id, low item[string]
		maxOpen item[int]
		maxFlow item[float64]
		master  *rawMaster
	}
	rawMaster struct {
		at               place
		controller, kind item[string]
		output           item[int]
		lead             item[time.Duration]
		length           item[float64]
		wire             item[measured]
		holding, inrush  item[float64]
	}
	rawValve struct {
		at                     place
		id, controller, supply item[string]
		output                 item[int]
		length                 item[float64]
		wire                   item[measured]
		holding, inrush        item[float64]
	}
	rawHealthy struct {
		controller, drives item[string]
		output             item[int]
		length             item[float64]
		wire               item[measured]
		holding, inrush    item[float64]
	}
	rawHouse struct {
		perTerminal      item[int]
		farthest, canopy item[float64]
		valveWire        item[measured]
	}
	// rawKeys are the keys that zones and defaults share.
	rawKeys struct {
		substrate                  item[string]
		volume, height             item[float64]
		curve                      item[string]
		porosity, density          item[float64] // m3/m3, g/cm3
		samples                    item[[]rawSample]
		poreOffset                 item[float64]
		ec                         item[string]
		perPlant, flow             item[float64]
		combine                    item[string]
		quorum                     item[int]
		stale                      item[time.Duration]
		plausible                  item[span]
		maxRun, minRest, maxPerDay item[time.Duration]
		maxMoisture                item[zones.Level]
		soakRun, soakPerDay        item[time.Duration]
		soakMoisture               item[zones.Level]
		lost                       item[*rawLost]
		walk                       item[bool] // required
	}
	// rawSample is one sample of a calibration: by its moisture, or weighed.
	rawSample struct {
		at                             place
		permittivity                   item[float64]
		moisture                       item[zones.Level]
		wetKg, dryKg, sampleMillilitre item[float64]
	}
	span    struct{ lo, hi zones.Level }
	rawLost struct {
		at               place
		shot             item[schedule.Shot]
		every, maxPerDay item[time.Duration]
	}
	rawZone struct {
		at       place
		id, name item[string]
		canopy   item[float64]
		plants   item[int]
		valves   []item[string]
		valvesAt place
		own      rawKeys
		keys     rawKeys // own over defaults
	}
)
