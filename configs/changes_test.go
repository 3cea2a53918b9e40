package configs

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// edited gives the base with replacements, each of which must be found once.
func edited(t *testing.T, file string, pairs ...string) *Loaded {
	t.Helper()
	files := baseFiles(t)
	text := string(files[file])
	for i := 0; i+1 < len(pairs); i += 2 {
		require.Equal(t, 1, strings.Count(text, pairs[i]), pairs[i])
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	files[file] = []byte(text)
	l, ps := Parse(files)
	require.False(t, Failed(ps), told(ps))
	return l
}

func TestChangesOfNothing(t *testing.T) {
	base := edited(t, RoomFile)
	require.Empty(t, Changes(base, base))
	require.Empty(t, Changes(base, edited(t, RoomFile, "units: us}", "units: us}   # seen by night")), "a comment changes nothing that counts")
}

func TestChangesAreTold(t *testing.T) {
	base := edited(t, RoomFile)
	for _, c := range []struct {
		file  string
		pairs []string
		want  []string
	}{
		{RoomFile, []string{"max_run: 6 min", "max_run: 8 min"}, []string{
			"zone east: limits.max_run from 6 min to 8 min", "zone west: limits.max_run from 6 min to 8 min", "zone spare: limits.max_run from 6 min to 8 min"}},
		{RoomFile, []string{"plants: 48", "plants: 50", "address: \"1\"", "address: \"7\""}, []string{
			"probe e2: place from north/1/1 to north/1/7", "zone east: plants from 48 to 50"}},
		{RoomFile, []string{"home_run: 60 ft", "home_run: 70 ft", "lead: 12 ft", "lead: 14 ft, draw: 30 mA", "canopy_per_probe: 100 sqft", "canopy_per_probe: 100 sqft, valve_wire: 20 AWG"}, []string{
			"room: house_rules.valve_wire from 18 AWG to 20 AWG", "probe e2: lead from 12 ft to 14 ft", "probe e2: draw is new: 0.03 A",
			"terminal north/1: home_run from 60 ft to 70 ft"}},
		{RoomFile, []string{"    low: tank-low\n", ""}, []string{"supply feed: low is removed (was tank-low)"}},
		{ScheduleFile, []string{"west: {routine: fruiting}", "west: none"}, []string{
			"zone west: window ramp-up is removed (was lights_on + 1 h to lights_on + 4 h, below 48 %, stop_at 55 %, shot 3 %, rest 15 min)",
			"zone west: window daytime is removed (was lights_on + 4 h to lights_off - 2 h, floor 40 %, dry_back 3 points, shot 2 %, rest 20 min, max_shots 8)",
			"zone west: window night is removed (was lights_off to lights_on, below 30 %, shot 45 s, rest 1 h)",
			"zone west: window rinse is removed (was cron \"30 12 * * MON\" for 30 min, shot 120 mL, max_shots 1)",
			"zone west: follows from routine fruiting to none"}},
		{ScheduleFile, []string{"stop_at: 60 %", "stop_at: 58 %", "ends: day 70", "ends: day 71"}, []string{
			"zone east: ends from day 70 to day 71",
			"zone east: stage rooting, window ramp-up from lights_on + 1 h to lights_on + 4 h, stop_at 60 %, shot 3 %, rest 15 min to lights_on + 1 h to lights_on + 4 h, stop_at 58 %, shot 3 %, rest 15 min"}},
		{ScheduleFile, []string{"18:00", "17:00"}, []string{"room: day from lights 06:00 to 18:00 to lights 06:00 to 17:00"}},
		{GatewayFile, []string{"lease: 30 s", "lease: 45 s", "[stop, hold]", "[stop]"}, []string{
			"gateway: lease from 30 s to 45 s", "gateway: homie.orders from stop, hold to stop"}},
	} {
		require.Equal(t, c.want, Changes(base, edited(t, c.file, c.pairs...)))
	}
}

func TestChangesOfZones(t *testing.T) {
	base := edited(t, RoomFile)
	other := loadExample(t, ExampleBay)
	told := Changes(base, other)
	require.Contains(t, told, "zone west is removed: it closes first")
	require.Contains(t, Changes(other, base), "zone west is new")
	require.Contains(t, Changes(nil, base), "zone east is new")
}
