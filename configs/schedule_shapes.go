package configs

// The shapes of schedule.yaml: what the grower may write.
var (
	scheduleShape = &shape{"When the zones get water.", []field{
		{"day", oneOf{dayShape, listOf{datedDayShape, 1}}, false, "when the lights go on and off"},
		{"routines", mapOf{routineKind}, false, "lists of windows, by name"},
		{"crops", mapOf{cropShape}, false, "runs of stages, by name"},
		{"zones", mapOf{zonePlanKind}, true, "what each zone follows"},
		{"alarms", mapOf{alarmsShape}, false, "alarm levels, for all zones or one"},
	}, ""}

	dayShape = &shape{"The lights of the day.", []field{
		{"lights_on", clockText, true, "when the lights go on"},
		{"lights_off", clockText, true, "when the lights go off"},
	}, `day: {lights_on: "06:00", lights_off: "18:00"}`}

	datedDayShape = &shape{"The lights of the day, from a date on.", append([]field{
		{"from", dateText, false, "the first date of this length of day; the first entry has none"},
	}, dayShape.fields...), `{from: "2027-03-01", lights_on: "06:00", lights_off: "18:00"}`}

	routineKind = listOf{windowShape, 1}

	windowShape = &shape{"A window: when shots may begin, and what asks for them.", []field{
		{"window", ident{}, true, "the window's name"},
		{"from", edgeText, false, "when it opens"},
		{"until", edgeText, false, "when it shuts"},
		{"on", listOf{word(weekdays[:]), 1}, false, "only on these days of the week"},
		{"cron", cronText, false, "when it opens, as a cron expression; then `for` says how long"},
		{"for", amount(timeSpan, "1 min", "24 h", "30 min"), false, "how long a cron window is open"},
		{"below", amount(percentage, "0.1 %", "99.9 %", "48 %"), false, "under this moisture it waters"},
		{"stop_at", amount(percentage, "0.1 %", "99.9 %", "55 %"), false, "at this moisture it stops"},
		{"dry_back", amount(points, "0.1 points", "60 points", "3 points"), false, "after this fall from the highest moisture it waters"},
		{"floor", amount(percentage, "0.1 %", "99.9 %", "40 %"), false, "beside dry_back: under this moisture it waters too"},
		{"shot", shotKind, true, "one shot: valve time, mL for each plant, or % of its substrate"},
		{"rest", amount(timeSpan, "10 s", "24 h", "15 min"), false, "the rest from one shot to the next"},
		{"max_shots", integer{1, 1000}, false, "the most shots in one opening"},
		{"without_probes", boolean{}, false, "a timed window that needs no probes"},
	}, "{window: daytime, from: lights_on + 1 h, until: lights_off - 2 h, below: 45 %, shot: 3 %, rest: 20 min}"}

	cropShape = &shape{"A crop: stages from a date on.", []field{
		{"day_1", dateText, true, "the date of its first day"},
		{"stages", listOf{stageShape, 1}, true, "its stages, in order"},
		{"ends", endText, false, "the last day with water"},
	}, `{day_1: "2027-02-01", stages: [{from: day 1, routine: rooting}], ends: day 70}`}

	stageShape = &shape{"A stage of a crop.", []field{
		{"from", dayText, true, "its first day"},
		{"routine", ident{}, true, "the routine in force"},
		{"ease", amount(timeSpan, "1 day", "120 days", "5 days"), false, "days over which numbers move from the stage before"},
	}, "{from: week 3, routine: fruiting, ease: 5 days}"}

	zonePlanKind = oneOf{word{"none"}, zonePlanShape, routineKind}

	zonePlanShape = &shape{"What a zone follows: a crop or a routine.", []field{
		{"crop", ident{}, false, "the crop it follows"},
		{"routine", ident{}, false, "the routine it follows"},
		{"scale", scaleShape, false, "factors on its numbers"},
	}, "{crop: first, scale: {shot: 0.9}}"}

	scaleShape = &shape{"Factors on a zone's numbers.", []field{
		{"shot", factorKind, false, "on the shots"},
		{"below", factorKind, false, "on below"},
		{"stop_at", factorKind, false, "on stop_at"},
		{"dry_back", factorKind, false, "on dry_back"},
		{"floor", factorKind, false, "on floor"},
		{"rest", factorKind, false, "on rest"},
		{"max_shots", factorKind, false, "on max_shots"},
	}, "scale: {shot: 0.9}"}

	factorKind = decimal{"0.1", "10"}

	alarmsShape = &shape{"Alarm levels.", []field{
		{"dry", dryShape, false, "the alarm for a zone too dry"},
		{"pore_ec", poreShape, false, "the alarm for too much or too little salt at the roots"},
		{"root_temperature", warmShape, false, "the alarm for a substrate too cold or too warm"},
	}, "{dry: {below: 38 %, for: 20 min}}"}

	poreShape = &shape{"The band of the pore water's EC, at 25 °C.", []field{
		{"below", amount(conductivity, "0.1 mS/cm", "30 mS/cm", "1.5 mS/cm"), false, "under this"},
		{"above", amount(conductivity, "0.1 mS/cm", "30 mS/cm", "8 mS/cm"), false, "over this"},
		{"for", amount(timeSpan, "1 min", "24 h", "1 h"), false, "for so long"},
	}, "pore_ec: {below: 1.5 mS/cm, above: 8 mS/cm, for: 1 h}"}

	warmShape = &shape{"The band of the substrate's temperature.", []field{
		{"below", amount(temperature, "0 C", "50 C", "16 C"), false, "under this"},
		{"above", amount(temperature, "0 C", "50 C", "28 C"), false, "over this"},
		{"for", amount(timeSpan, "1 min", "24 h", "1 h"), false, "for so long"},
	}, "root_temperature: {below: 16 C, above: 28 C, for: 1 h}"}

	dryShape = &shape{"The alarm for a zone too dry.", []field{
		{"below", amount(percentage, "0.1 %", "99.9 %", "38 %"), false, "under this moisture"},
		{"for", amount(timeSpan, "1 min", "24 h", "20 min"), false, "for so long"},
	}, "dry: {below: 38 %, for: 20 min}"}
)

// weekdays are the days of the week, in time.Weekday's order.
var weekdays = [...]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}
