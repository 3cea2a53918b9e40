// Package page serves the status page: what the room does and why, for a person at
// the box or on an ssh tunnel. It reads a snapshot and changes nothing.
//
//	GET /            the room: alarms first, then zones, valves, controllers, probes
//	GET /zones/<id>  one zone: a larger picture, and where each number comes from
//	GET /probes/<id> one probe: its last days (?days=1, 3 or 7)
//	GET /view.json   the same as data (zones.View)
//	GET /healthz     200 "ok", or 503 with the cause
//
// No script, no cookie, no form, nothing loaded from elsewhere. The pictures are SVG
// drawn here.
package page
