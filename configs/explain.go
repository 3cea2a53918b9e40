package configs

import (
	"fmt"
	"strings"
	"text/tabwriter"
)

// Explain says where each value of a zone came from: one line for each, in columns.
func Explain(l *Loaded, zone string) (string, error) {
	list, ok := l.Origins[zone]
	if !ok {
		var known []string
		for i := range l.Plan.Zones {
			known = append(known, l.Plan.Zones[i].ID)
		}
		return "", fmt.Errorf("explain zone %q: there is no such zone; the zones are %s", zone, listSome(known))
	}
	var b strings.Builder
	b.WriteString("zone " + zone + "\n")
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, o := range list {
		fmt.Fprintf(t, "  %s\t%s\t%s\n", o.Key, o.Value, o.From)
	}
	if err := t.Flush(); err != nil {
		return "", fmt.Errorf("explain zone %q: %w", zone, err)
	}
	return b.String(), nil
}
