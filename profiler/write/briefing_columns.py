"""What tables of a briefing and their columns mean; names in `profile_columns` mean the same here, but for ``OWN``."""

from __future__ import annotations

from profiler.write.meaning import Meaning, text

TABLES = {
    "under_train": "What one train feels at steady speed, by places of its head end: grade, forces, couplers, running, "
    "starting.",
    "marks": "Marks for one train, by places of its head end; no mark is an instruction to operate.",
    "starting": "What a start takes at stations, planned stops, the hardest places of climbs, and astride of crests.",
    "starting_sequence": "Starts in time from the release of the air: acts, and how the train moves.",
    "rolled_back": "How far the train rolls back if the power comes late at a start.",
    "climbs": "Balancing speed and units to use on the ruling climb and on sustained grades.",
    "units_to_use": "The same climbs with every number of units of the head group pulling.",
    "rating": "Tonnage that this power starts and hauls over the line, with the train's mix of cars.",
    "remote": "Every place for the last group of power, at a start on the hardest places.",
    "helpers": "Where the train needs a helper to keep up its minimum continuous speed.",
    "run": "The whole line run by plan: every 5 s and at every act; where it stalls another run begins before the next "
    "descent.",
    "descents": "What holds the train at the hardest place of each descent, by speed and reduction; and by air alone.",
    "descent_plans": "Each descent: places, the highest speed that holds and what binds it, the plan as run, heat.",
    "crest_timeline": "Over each crest: quarters of the train past it, notches that keep its speed, the plan in time.",
    "stopping": "Stops at stations, planned stops and from the hardest place of each descent, on the real grade, no "
    "air set before.",
    "what_if": "What holds the train at the worst place of each descent if something is otherwise.",
    "dynamic_lost": "All of the dynamic brake lost on each descent: what the air alone must do, and stops with the air "
    "of the plan set, begun 10 s later.",
    "standing": "The train stopped at the worst place of each descent: what keeps it, charging, the start after it.",
    "slow_orders": "Slow orders and limits that fall: where slowing down begins by every way to do it.",
    "air_ledger": "The brake pipe at the far end of the train at every movement of the valve, by plan, normally and "
    "in a cold or leaky train.",
    "in_train": "What couplers feel at marked places, vehicle by vehicle: as planned and suddenly, in three states of "
    "wear, beside the steady forces. Slack and gears are not known better than that.",
    "make_up_ranking": "Where in the train the largest forces pass, usual slack: where empties or long cars would "
    "hurt. Information, no rule.",
}

COLUMNS = {
    "grade_under_train_pct": Meaning("Mean grade under the train by mass, + uphill as travelled"),
    "grade_under_train_se_pct": Meaning("Standard error of the grade under the train"),
    "grade_kn": Meaning("Weight along the track, + holding the train back"),
    "curve_kn": Meaning("Curve resistance; of a running train, doubled where a start is meant"),
    "resistance_kn": Meaning("Resistance on level straight track at the speed of its row"),
    "required_kn": Meaning("Effort that keeps the speed, or that starts the train; below 0 it has to be held back"),
    "available_kn": Meaning("Full effort of all units that pull, adhesion considered"),
    "margin_kn": Meaning("Available less required"),
    "breakaway_kn": Meaning("Resistance that has to be broken at a start"),
    "inertia_kn": Meaning("Force for a small acceleration at a start"),
    "draft_kn": Meaning("Largest draft in the train with the effort required"),
    "draft_behind_vehicle": Meaning("Vehicle behind which that draft is, counted from 1 at the head end", "integer"),
    "buff_kn": Meaning("Largest buff in the train with the effort required"),
    "buff_behind_vehicle": Meaning("Vehicle behind which that buff is, counted from 1 at the head end", "integer"),
    "full_draft_kn": Meaning("Largest draft in the train with full effort"),
    "full_draft_behind_vehicle": Meaning("Vehicle behind which it is, counted from 1 at the head end", "integer"),
    "over_limit_kn": Meaning("Draft above the train's limit, 0 within it"),
    "start_required_kn": Meaning("Effort that starts the train there"),
    "start_draft_kn": Meaning("Largest draft in the train at a start there"),
    "start_notch": Meaning("Lowest notch that starts it, 0 where it rolls off by itself, empty where none", "integer"),
    "starts": Meaning("Whether it starts within the draft limit", "boolean"),
    "start_probability": Meaning("Share of equally likely profiles in which it starts, 0 to 1"),
    "limited_by": text("What gives out first: adhesion, starting_effort or knuckle"),
    "past_crest": Meaning("Share of the train's mass past the crest, empty elsewhere"),
    "independent_kn": Meaning("What the independent brake of the head group holds"),
    "independent_holds": Meaning("Whether it alone keeps the train from rolling back", "boolean"),
    "part_before_line": Meaning("Whether part of the train stands before the line begins", "boolean"),
    "helps": text("What would help there, and what it would bring"),
    "earliest_m": Meaning("Chainage of the head end where the mark begins, in order of travel"),
    "recommended_m": Meaning("Chainage of the head end at the one place that stands for it"),
    "latest_m": Meaning("Chainage of the head end where it ends"),
    "time_s": Meaning("Time from the release of the air"),
    "act": text("Act of the crew or event, empty between them"),
    "moved_m": Meaning("Distance moved ahead, below 0 back"),
    "notch": Meaning("Notch of the throttle", "integer"),
    "effort_kn": Meaning("Effort in use, held to what the couplers allow"),
    "air_brake_kn": Meaning("What the cars' brakes could still hold"),
    "notch_late_s": Meaning("How long after the release of the air the first notch comes"),
    "independent": text("eased against the power, or dropped with the release of the air"),
    "back_m": Meaning("Distance rolled back"),
    "rule": text("haul, draft: at minimum continuous speed; start, draft at start: at a start"),
    "trailing_t": Meaning("Mass of the cars that this rule allows"),
    "low_t": Meaning("Lower end of its 95 % interval"),
    "high_t": Meaning("Upper end of its 95 % interval"),
    "rules": Meaning("Whether it is the least of all", "boolean"),
    "given_t": Meaning("Mass of the cars that the train has"),
    "enough": Meaning("Whether it is enough for the train as given", "boolean"),
    "compensated_grade_pct": Meaning("Mean grade under the train there, curves counted as for a running train"),
    "minimum_speed_kmh": Meaning("Minimum continuous speed"),
    "balance_speed_kmh": Meaning("Balancing speed under full power at the hardest place, 0 where it stalls"),
    "short_time_s": Meaning("Time below the continuous speed of its units about there, empty where it stalls"),
    "head_limit_kn": Meaning("Most that the head group may pull with at a start within the draft limit"),
    "fewest_units": Meaning("Units of the head group that start it and keep it moving, empty where none do", "integer"),
    "most_units": Meaning("Units whose full effort stays within the draft limit, empty where none", "integer"),
    "refused": Meaning("Whether no number of units starts it within the draft limit", "boolean"),
    "units": Meaning("Number of units", "integer"),
    "holds_speed": Meaning("Whether that is the minimum continuous speed or more", "boolean"),
    "cars_ahead": Meaning("Cars ahead of the group", "integer"),
    "cars_ahead_share": Meaning("Their share of all cars, 0 to 1"),
    "rms_kn": Meaning("Root mean square of all coupler forces"),
    "now": Meaning("Whether it stands there", "boolean"),
    "best": Meaning(
        "Whether it is the best place by draft over the limit, then buff, then root mean square", "boolean"
    ),
    "missing_kn": Meaning("Effort that is missing at the hardest place"),
    "run": Meaning("Number of the run", "integer"),
    "hold_kmh": Meaning("Speed that the crew holds there at most"),
    "limit_kmh": Meaning("Speed that may not be passed: the limit, or where less is held that and the margin"),
    "dynamic_kn": Meaning("Dynamic brake in use"),
    "dynamic_share": Meaning("Share of the dynamic brake there is, 1 for all of it; below 0 the air alone is too much"),
    "reduction_kpa": Meaning("Reduction of the brake pipe", unit="kPa"),
    "air_kn": Meaning("Air brake of the cars"),
    "descent": Meaning("Number of the descent in order of travel", "integer"),
    "brakes": text("dynamic and air, or air alone"),
    "verdict": text(
        "holds; does not hold; not in hand: more of the dynamic brake than a plan may use; too hot: wheels; "
        "over-brakes: slows the train"
    ),
    "wheel_kw": Meaning("Power on a wheel of the worst car", unit="kW"),
    "wheel_limit_kw": Meaning("What a wheel stands", unit="kW"),
    "weak_dynamic_share": Meaning("Share of the dynamic brake with shoes × 0.7"),
    "weak_verdict": text("The verdict with shoes × 0.7"),
    "crest_m": Meaning("Chainage of the crest before it"),
    "worst_m": Meaning("Chainage of the head end where the greatest force is needed"),
    "worst_length_m": Meaning("Over how far nearly as much is needed"),
    "held": Meaning("Whether there is a speed at which the train is held", "boolean"),
    "allowed_kmh": Meaning("Highest speed held that the limits leave"),
    "top_kmh": Meaning("Highest speed that holds all the way down, empty where none does"),
    "bound": text(
        "What binds it: posted, force, heat, air that would stop the train or not be charged again; reserve: nothing "
        "is in hand"
    ),
    "force_kmh": Meaning("Highest speed that holds by force alone, empty where none does"),
    "crest_kmh": Meaning("Speed as the head passes the crest"),
    "stalls_before": Meaning("Whether it stalls before the crest; told as if it were got over it", "boolean"),
    "balance_m": Meaning("Chainage of the head end where the train needs no effort at its speed over the crest"),
    "power_off_m": Meaning(
        "Chainage of the head end where power goes off, empty if it is on the descent from the start"
    ),
    "air_steps": Meaning("Applications and further reductions", "integer"),
    "over_limit_kmh": Meaning("How far the plan, run, is above the limit at most, below 0 within it"),
    "least_kmh": Meaning("Least speed of the plan, run"),
    "share_late": Meaning("Share of the draws that pass the limit by bad timing, 0 to 1"),
    "share_late_reacting": Meaning("The same with the customary reaction, 0 to 1"),
    "share_level": Meaning("Share of the draws that pass it whenever the brakes planned are set, 0 to 1"),
    "share_stalled": Meaning("Share of the draws that come to a stand, 0 to 1"),
    "share_stalled_reacting": Meaning("The same with the customary reaction, 0 to 1"),
    "wheel_mj": Meaning("Heat of that wheel over the descent", unit="MJ"),
    "wheel_limit_source": text("Where that limit comes from"),
    "alone_kpa": Meaning("Smallest reduction that holds without any dynamic brake, empty where none does", unit="kPa"),
    "alone_service_share": Meaning("Share of full service that holds without any dynamic brake"),
    "alone_wheel_kw": Meaning("Power on a wheel of the worst car then", unit="kW"),
    "alone_verdict": text("Whether the air alone holds it"),
    "alone_weak_verdict": text("The same with shoes × 0.7"),
    "past_crest_m": Meaning("Distance of the head end past the crest"),
    "lateral_over_vertical": Meaning("Largest lateral over vertical force of a truck, by couplers in curves"),
    "shoes": text("Friction of the shoes: nominal, or weak, × 0.7"),
    "stops": Meaning("Whether the train comes to rest at all", "boolean"),
    "distance_m": Meaning("Until the train stands, empty for never"),
    "begins_m": Meaning("Chainage of the head end where the first act begins, empty where it cannot be done"),
    "case": text("What is otherwise; buff_limit in kN, others as a share or a count"),
    "cool": Meaning("Whether wheels stand it", "boolean"),
    "weight_kn": Meaning("Weight along the track"),
    "retained_kn": Meaning(
        "What retaining valves keep, all set at high pressure, after a release; 0 where there are none"
    ),
    "retainers_hold": Meaning("Whether they alone hold it while the pipe is charged", "boolean"),
    "hand_brakes": Meaning("Hand brakes that would hold it, an order of size: local rules decide", "integer"),
    "cars": Meaning("Cars there are", "integer"),
    "charged_s": Meaning("Until 95 % of what the pipe lacks is made up"),
    "charged_cold_s": Meaning("The same, cold or leaky"),
    "at_speed_s": Meaning("From the release until it passes the plan's speed, dynamic brake on; empty for never"),
    "holds": Meaning("Whether friction alone is enough, hot or not", "boolean"),
    "service_share": Meaning("Share of full service that holds it"),
    "weak_service_share": Meaning("The same with shoes × 0.7, above 1 where it does not hold"),
    "cool_kmh": Meaning("Speed at which wheels stand that reduction, empty where none holds"),
    "service_m": Meaning("Until it stands by full service, empty for never"),
    "emergency_m": Meaning("Until it stands by an emergency application, empty for never"),
    "weak_service_m": Meaning("Until it stands by full service with shoes × 0.7, empty for never"),
    "weak_emergency_m": Meaning("Until it stands by an emergency application with shoes × 0.7, empty for never"),
    "approach_kmh": Meaning("Speed held, or that power gets the train to, before"),
    "slow_kmh": Meaning("Speed held from there on"),
    "plan_kpa": Meaning("Reduction that the plan has set as the head gets there", unit="kPa"),
    "way": text("How the train is slowed"),
    "in_time": text("yes or no, empty where it is no faster anyway"),
    "valve_m": Meaning("Chainage of the head end where the brake valve is moved, empty where no air is set for it"),
    "at_work_m": Meaning("Chainage of the head end where all of the brake must be at work"),
    "wear": text("State of wear of slack that is assumed: tight, usual, worn"),
    "slack_mm": Meaning("Free slack of the loosest coupling in that state", unit="mm"),
    "draft_after_s": Meaning("When the largest draft comes, since the act began"),
    "buff_after_s": Meaning("When the largest buff comes, since the act began"),
    "steady_draft_kn": Meaning("Largest steady draft of the same acts, slack left out"),
    "steady_buff_kn": Meaning("Largest steady buff of the same acts, slack left out"),
    "draft_limit_kn": Meaning("Draft limit of the train"),
    "buff_limit_kn": Meaning("Buff limit of the train"),
    "over_draft_limit": Meaning("Whether the draft passes it", "boolean"),
    "over_buff_limit": Meaning("Whether the buff passes it", "boolean"),
    "run_in_kmh": Meaning("Greatest speed at which neighbours close up"),
    "run_in_behind_vehicle": Meaning("Behind which vehicle that is, counted from 1 at the head end", "integer"),
    "breaks": Meaning("Whether a coupling parts, or a knuckle would: a typical one at about 300 kips", "boolean"),
    "parted_m": Meaning("Chainage of the head end as a coupling parts, after which nothing is followed; else empty"),
    "curve_vehicle": Meaning("Vehicle with the largest lateral over vertical force", "integer"),
    "step_changes_pct": Meaning("How far halving the time step changes a peak at most"),
    "vehicle": Meaning("Vehicle, counted from 1 at the head end", "integer"),
    "vehicle_name": text("What it is"),
    "part": text("Third of the train by length: head, middle, rear"),
    "behind_head_share": Meaning("Its middle behind the head end over the length of the train"),
    "mass_t": Meaning("Mass"),
    **{
        f"{how}_{name}": Meaning(f"{what}, {said}")
        for how, said in (("planned", "as planned"), ("sudden", "handled suddenly"))
        for name, what in (
            ("draft_kn", "Largest draft at either end"),
            ("buff_kn", "Largest buff at either end"),
            ("lateral_over_vertical", "Largest lateral over vertical force of a truck"),
        )
    },
    "rank": Meaning("1 where the largest force, handled suddenly or not, is greatest", "integer"),
    "since_release_s": Meaning("Time since the last release, empty before the first"),
    "before_kpa": Meaning("Reduction before", unit="kPa"),
    "after_kpa": Meaning("Reduction asked for, 0 for a release", unit="kPa"),
    **{
        f"{prefix}{name}": Meaning(f"{what}{where}", kind, unit)
        for prefix, where in (("", ""), ("cold_", ", cold or leaky"))
        for name, what, kind, unit in (
            ("lack_kpa", "What the pipe lacks of its full charge", "number", "kPa"),
            ("charge_kpa", "What the pipe has", "number", "kPa"),
            ("gauge_kpa", "Reduction at the gauge for the effect asked for", "number", "kPa"),
            ("left_kpa", "Reduction left until full service", "number", "kPa"),
            ("enough", "Whether the charge gives the reduction asked for", "boolean", ""),
            ("false_gradient", "Whether a reduction does noticeably less than the gauge shows", "boolean", ""),
        )
    },
}

OWN = {
    **{
        (table, "case"): text(
            "Case of the plan: plan; slower and faster hold 0.9 and 1.1 of its speeds, never above a posted limit"
        )
        for table in ("marks", "under_train", "run")
    },
    ("under_train", "speed_kmh"): Meaning("Speed of the plan there, or what full power keeps up of it"),
    ("marks", "number"): Meaning("Number of the mark in order of travel", "integer"),
    ("marks", "value"): Meaning(
        "Change of grade under the train, margin of a start, speed over the crest, share of the dynamic brake, "
        "reduction or force, in the unit of its row"
    ),
    ("marks", "reason"): text("Why it is there"),
    **{
        (table, "head_m"): Meaning("Chainage of the head end")
        for table in (
            *("under_train", "starting", "starting_sequence", "rolled_back"),
            *("climbs", "units_to_use", "rating", "helpers", "run", "crest_timeline"),
        )
    },
    ("descents", "head_m"): Meaning("Chainage of the head end at the hardest place"),
    ("run", "act"): text("Acts of the crew that begin there, empty between them"),
    ("run", "time_s"): Meaning("Time since the first run began, what lies between two runs left out"),
    ("descents", "reduction_kpa"): Meaning("Reduction of the brake pipe, 0 for no air", unit="kPa"),
    ("descent_plans", "required_kn"): Meaning("Greatest force that holds the speed, below 0 where it only slows down"),
    ("descent_plans", "dynamic_kn"): Meaning("All of the dynamic brake at the worst place and the speed held"),
    ("descent_plans", "dynamic_bound"): text(
        "What holds that of the head group down: adhesion, equivalent axles, buff limit"
    ),
    ("descent_plans", "notch"): Meaning("Notch over the crest", "integer"),
    ("descent_plans", "reduction_kpa"): Meaning("Greatest reduction of the plan", unit="kPa"),
    ("descent_plans", "wheel_kw"): Meaning("Greatest power on a wheel of the worst car, as run", unit="kW"),
    ("crest_timeline", "act"): text(
        "past_crest: so much of the train past the crest; cut: notch that keeps the speed there; notch, dynamic_brake, "
        "bunched, set_up: the plan"
    ),
    ("crest_timeline", "value"): Meaning("Share of the train, notch, or share of the dynamic brake"),
    ("crest_timeline", "time_s"): Meaning("Time since the first notch goes off, empty for places"),
    **{(t, "head_m"): Meaning("Chainage of the head end") for t in ("stopping", "air_ledger")},
    **{(t, "head_m"): Meaning("Chainage of the head end at the worst place") for t in ("what_if", "standing")},
    ("dynamic_lost", "head_m"): Meaning("Chainage of the head end where it is lost: stopping takes longest from there"),
    ("stopping", "begins_m"): Meaning("Chainage of the head end where it is begun to stop there, empty for nowhere"),
    ("stopping", "brakes"): text(
        "service_dynamic: full service and the dynamic brake; service; emergency; emergency_over: 5 mph or 8 km/h "
        "above the limit"
    ),
    ("stopping", "place"): text("Name of the place, or the descent"),
    ("stopping", "time_s"): Meaning("Until the train stands, empty for never"),
    ("stopping", "top_kmh"): Meaning("Greatest speed on the way, empty for never"),
    ("slow_orders", "number"): Meaning("Number in order of travel", "integer"),
    ("slow_orders", "start_m"): Meaning("Chainage of the head end where it begins to bind"),
    ("slow_orders", "clear_m"): Meaning("Chainage of the head end where the rear end is out of it"),
    ("slow_orders", "reason"): text("Why, as the territory states it"),
    ("slow_orders", "reduction_kpa"): Meaning("Reduction of the brake pipe, 0 for no air", unit="kPa"),
    ("air_ledger", "time_s"): Meaning("Time since the first run began, what lies between two runs left out"),
    ("in_train", "kind"): text("crest, air_step, release, sag or start"),
    ("in_train", "way"): text(
        "How it is handled: planned; gentler: begun sooner, three times the time for the throttle, twice for the "
        "dynamic brake; no_pause: throttle shut in 4 s, all of the dynamic brake in 3 s after it; "
        "dynamic_at_once: all of it in 3 s after the pause; throttle_at_once: power shut off in 1 s at the crest; "
        "release_at_once: all air and the dynamic brake let go; bunched_full_notch: started with slack in, a notch "
        "each second"
    ),
    ("in_train", "head_m"): Meaning("Chainage of the head end where the act begins"),
    ("starting", "place"): text("Name of the place, empty where it has none"),
    ("starting_sequence", "value"): Meaning("Figure of the act, in the unit of its row"),
}
