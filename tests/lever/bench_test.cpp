// From resistances to bits, to the table, to the gear table.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "lever/contact_states.h"
#include "lever/gears.h"
#include "lever/study.h"
#include "paths.h"
#include "profile/load.h"
#include "quantity/text.h"

namespace pinproof::lever {
namespace {

profile::Profile load(const std::string& name) {
  return profile::load_profile(pinproof::tests::source_dir() + "/profiles/" + name + ".json");
}

const Tap& tap_at(const std::vector<Tap>& taps, const std::string& pin) {
  return *std::find_if(taps.begin(), taps.end(), [&](const Tap& t) { return t.from == pin; });
}

TEST_CASE("one contact: closed, open, and neither by the controller's thresholds") {
  auto profile = load("four-speed-13-pin");
  const RangeCode code = code_of(profile);
  const auto taps = taps_of(profile, code);
  const Tap& tap = tap_at(taps, "G");
  CHECK(tap.to == "N");  // by the ground pin, as the controller sees it
  const auto state = [&](double ohm) {
    const Bits bits = bits_of(profile, code, tap, ohm);
    return bits.weak != 0 ? 'w' : bits.word.known == 0 ? '?' : bits.word.closed != 0 ? 'c' : 'o';
  };
  CHECK(state(0.3) == 'c');
  CHECK(state(INFINITY) == 'o');
  CHECK(state(5000) == 'w');
  CHECK(state(NAN) == '?');
  // 1 kohm to 5 V, low below 1.5 V, high above 3.5 V: by Ohm's law 428.6 ohm and 2333 ohm.
  profile.lever->input = profile::LineInput{5, 1000, 1.5, 3.5};
  const Interval doubtful = doubtful_ohm(profile, code, tap);
  CHECK(doubtful.low == doctest::Approx(1000 * 1.5 / 3.5));
  CHECK(doubtful.high == doctest::Approx(1000 * 3.5 / 1.5));
  CHECK(state(400) == 'c');
  CHECK(state(1000) == 'w');
  CHECK(state(5000) == 'o');
}

TEST_CASE("an overload of a low range proves no open, and takes a closed reading back") {
  const auto profile = load("four-speed-13-pin");
  const RangeCode code = code_of(profile);
  const auto taps = taps_of(profile, code);
  const Mask one = Mask{1} << tap_at(taps, "G").columns.front();
  const auto seen = [&](const std::vector<std::pair<double, double>>& ohm_and_range) {
    record::WrittenReadings readings;
    for (const auto& [ohm, range] : ohm_and_range) {
      record::WrittenReading reading;
      reading.from = {"G"}, reading.to = {"N"}, reading.condition.lever = code.positions.front();
      reading.ohm = ohm, reading.range_ohm = range;
      readings.readings.push_back(reading);
    }
    const Observed out = observe(profile, code, taps, readings, "test").observed;
    return (out.weak[0] & one) != 0           ? 'w'
           : (out.words[0].known & one) == 0  ? '?'
           : (out.words[0].closed & one) != 0 ? 'c'
                                              : 'o';
  };
  CHECK(seen({{0.3, INFINITY}}) == 'c');
  CHECK(seen({{INFINITY, 120}}) == '?');
  CHECK(seen({{0.3, INFINITY}, {INFINITY, 120}}) == 'w');
  CHECK(seen({{INFINITY, 120}, {0.3, INFINITY}}) == 'w');
  CHECK(seen({{0.3, INFINITY}, {INFINITY, 1}}) == 'c');  // a closed one may have read beyond that
}

TEST_CASE("two contacts at one pin are told by the resistor of one") {
  const std::vector<ContactOhms> two{{5, std::nullopt}, {5, Interval{650, 710}}};
  CHECK(states_of(two, 0.2, 1e5, INFINITY) == "oo");
  CHECK(states_of(two, 0.2, 1e5, 680) == "oc");
  CHECK(states_of(two, 0.2, 1e5, 0.4) == "cw");  // the closed one hides the other
  CHECK(states_of(two, 0.2, 1e5, 5000) == "ww");
  const std::vector<ContactOhms> switches{{5, Interval{316, 344}}, {5, Interval{960, 1040}}};
  CHECK(states_of(switches, 0.2, 1e5, 331) == "co");
  CHECK(states_of(switches, 0.2, 1e5, 1003) == "oc");
  CHECK(states_of(switches, 0.2, 1e5, 249) == "cc");  // 330 and 1000 ohm in parallel: 248 ohm
  CHECK(states_of(switches, 0.2, 1e5, 1e9) == "oo");
}

TEST_CASE("a weak contact is named, and is a hazard where the controller may take either") {
  auto profile = load("four-speed-13-pin");
  const RangeCode code = code_of(profile);
  record::WrittenReadings readings;
  for (std::size_t p = 0; p < code.positions.size(); ++p)
    for (const Tap& tap : taps_of(profile, code)) {
      record::WrittenReading one;
      one.from = {tap.from}, one.to = {"case"};
      one.condition.lever = code.positions[p];
      const bool closed = ((code.words[p].closed >> tap.columns.front()) & 1U) != 0;
      one.ohm = !closed ? INFINITY : tap.from == "H" ? 900 : 0.4;
      readings.readings.push_back(one);
    }
  auto seen = observe(profile, code, taps_of(profile, code), readings, "test");
  const Study study = study_of(profile, code, taps_of(profile, code), seen);
  CHECK(study.verdict == inspection::Verdict::reject);
  REQUIRE(study.explained.explanations.size() == 1);
  CHECK(study.explained.explanations.front().faults.front().kind->name == "contact-weak");
  CHECK(study.texts.front().find("R2 (pin H)") != std::string::npos);
}

TEST_CASE("an overload in a small range, and a contact that reads neither, are no accept") {
  const auto profile = load("four-speed-13-pin");
  const RangeCode code = code_of(profile);
  record::WrittenReadings readings;
  for (std::size_t p = 0; p < code.positions.size(); ++p)
    for (const Tap& tap : taps_of(profile, code)) {
      record::WrittenReading one;
      one.from = {tap.from}, one.to = {tap.to};
      one.condition.lever = code.positions[p];
      one.range_ohm = 1e6;
      one.ohm = ((code.words[p].closed >> tap.columns.front()) & 1U) != 0 ? 0.4 : INFINITY;
      readings.readings.push_back(one);
    }
  const auto verdict = [&] {
    return study_of(profile, code, taps_of(profile, code),
                    observe(profile, code, taps_of(profile, code), readings, "test"))
        .verdict;
  };
  CHECK(verdict() == inspection::Verdict::accept);
  for (auto& one : readings.readings)
    if (std::isinf(one.ohm)) one.range_ohm = 1000;  // far below what an open contact must have
  CHECK(verdict() == inspection::Verdict::hold);
  std::vector<LeverStop> walk;
  for (std::size_t k = 0; k < 2 * code.positions.size() - 1; ++k) {
    const std::size_t p = k < code.positions.size() ? k : 2 * code.positions.size() - 2 - k;
    walk.push_back({code.words[p], {p}, double(k), double(k) + 0.3, 0});
  }
  CHECK(study_of(profile, code, taps_of(profile, code), walk).verdict ==
        inspection::Verdict::accept);
  std::vector<LeverStop> hurried = walk;
  std::erase_if(hurried, [](const LeverStop& one) { return one.positions.front() == 4; });
  const Study held = study_of(profile, code, taps_of(profile, code), hurried);
  CHECK(held.verdict == inspection::Verdict::hold);
  CHECK(held.why.find(" in " + code.positions[4] + ": gone past") != std::string::npos);
  for (LeverStop& one : walk) one.word.known &= ~Mask{2}, one.word.closed &= ~Mask{2};
  CHECK(study_of(profile, code, taps_of(profile, code), walk).verdict == inspection::Verdict::hold);
}

TEST_CASE("part of a table: hold, and where a fault may be two, the position that tells") {
  const auto profile = load("six-speed-20-pin");
  const RangeCode code = code_of(profile);
  const auto study = [&](const char* json) {
    return study_of(profile, code, taps_of(profile, code), observe(code, json, "test.json"));
  };
  const auto some = study(R"({"schema":"pinproof/observed/1","positions":[
    {"name":"P","code":"11110","start_permit":"0"},{"name":"R","code":"10100","start_permit":"1",
     "reverse":"0"}]})");
  CHECK(some.verdict == inspection::Verdict::hold);
  CHECK(some.explained.faults == 0);
  // L2 open in R: stuck, or changed places with one that is open there.
  const auto one = study(R"({"schema":"pinproof/observed/1","positions":[
    {"name":"R","code":"11100","start_permit":"1","reverse":"0"}]})");
  CHECK(one.verdict == inspection::Verdict::reject);
  CHECK(one.explained.explanations.size() > 1);
  REQUIRE(one.explained.next.has_value());
  CHECK(one.explained.next->bits > 0.1);
  CHECK_THROWS_WITH(study(R"({"schema":"pinproof/observed/1","positions":[{"name":"X"}]})"),
                    doctest::Contains("\"X\" is no lever position"));
  CHECK_THROWS(
      study(R"({"schema":"pinproof/observed/1","positions":[{"name":"P","code":"111"}]})"));
  CHECK_THROWS(
      study(R"({"schema":"pinproof/observed/1","positions":[{"name":"P","code":"1111z"}]})"));
}

TEST_CASE("through a harness the contacts are read at the controller's end") {
  const auto profile = load("six-speed-20-pin");
  const RangeCode code = code_of(profile);
  const auto harness = profile::load_harness(
      pinproof::tests::source_dir() + "/examples/harness-20-pin.json", profile);
  const auto taps = taps_of(profile, code, harness);
  CHECK(taps.size() == 6);
  const Tap& tap = tap_at(taps, "C13");
  CHECK(tap.to == "C20");
  CHECK(tap.wires_ohm > tap_at(taps_of(profile, code), "13").wires_ohm);
}

TEST_CASE("on a free walk one right reading does not mend one that was neither") {
  const auto profile = load("six-speed-20-pin");
  const RangeCode code = code_of(profile);
  const auto walk = [&](std::size_t weak_at) {
    std::vector<LeverStop> out;
    const std::size_t n = code.positions.size();
    for (std::size_t k = 0; k < 2 * n - 1; ++k) {
      Word word = code.words[k < n ? k : 2 * n - 2 - k];
      if (k == weak_at) word.known &= ~Mask{1}, word.closed &= ~Mask{1};
      out.push_back(
          {word, code.decode(word), static_cast<double>(k), static_cast<double>(k) + 0.5, 0});
    }
    return study_of(profile, code, taps_of(profile, code), out).verdict;
  };
  CHECK(walk(100) == inspection::Verdict::accept);
  CHECK(walk(3) == inspection::Verdict::hold);   // on the way out, and right on the way back
  CHECK(walk(10) == inspection::Verdict::hold);  // the other way round
}

// What a pack shows in each gear, by its table and one fault.
std::vector<GearSeen> gears_seen(
    const profile::Profile& profile,
    const std::function<void(const profile::Gear*, GearSeen&)>& fault) {
  std::vector<GearSeen> out;
  const auto add = [&](const profile::Gear* gear) {
    GearSeen row;
    row.gear = gear ? gear->name : "";
    for (const auto& part : profile.parts) {
      if (!part.pressure_switch()) continue;
      const bool closed = gear ? closes_in(*gear, part.name)
                               : part.pressure_switch()->rest == profile::Rest::closed;
      row.switches[part.name].state = closed ? 'c' : 'o';
    }
    fault(gear, row);
    out.push_back(row);
  };
  add(nullptr);
  for (const auto& gear : profile.gears) add(&gear);
  return out;
}

std::string only_kind(const GearStudy& study) {
  return study.findings.size() == 1 ? study.findings.front().kind
                                    : std::to_string(study.findings.size()) + " findings";
}

TEST_CASE("gear table: stuck, cross leak, late, chattering, not read") {
  const auto profile = load("six-speed-20-pin");
  const auto study = [&](const std::function<void(const profile::Gear*, GearSeen&)>& fault) {
    return study_gears(profile, gears_seen(profile, fault), {});
  };
  const auto applied = [](const profile::Gear* gear, const char* element) {
    return gear &&
           std::find(gear->applied.begin(), gear->applied.end(), element) != gear->applied.end();
  };
  CHECK(study([](auto*, auto&) {}).verdict == inspection::Verdict::accept);
  CHECK(only_kind(study([](auto*, auto& row) { row.switches["PS1"].state = 'c'; })) ==
        "switch-stuck-closed");
  CHECK(only_kind(study([](auto*, auto& row) { row.switches["PS1"].state = 'o'; })) ==
        "switch-stuck-open");
  CHECK(only_kind(study([](auto*, auto& row) { row.switches["PS3"].state = 'o'; })) ==
        "switch-stuck-open");
  const auto leak = study([&](auto* gear, auto& row) {
    if (applied(gear, "E3")) row.switches["PS1"].state = 'c';
  });
  CHECK(only_kind(leak) == "cross-leak");
  CHECK(leak.findings.front().text.find("air at E3") != std::string::npos);
  CHECK(only_kind(study([&](auto* gear, auto& row) {
          if (applied(gear, "E2")) row.switches["PS2"].after_s = 1.5;
        })) == "switch-late");
  CHECK(only_kind(study([&](auto* gear, auto& row) {
          if (applied(gear, "E4")) row.switches["PS4"].changes = 5;
        })) == "switch-chatters");
  const auto missing = study([](auto* gear, auto& row) {
    if (gear && gear->name == "3") row.switches.erase("PS5");
  });
  CHECK(missing.findings.empty());
  CHECK(missing.verdict == inspection::Verdict::hold);
}

TEST_CASE("trip and reset pressures, and the current of a gear's coils") {
  const auto profile = load("six-speed-20-pin");
  const auto trips = [&](TripSeen trip) {
    return study_gears(profile, gears_seen(profile, [](auto*, auto&) {}), {std::move(trip)});
  };
  CHECK(trips({"PS1", 480e3, 420e3, 10e3}).findings.empty());
  using inspection::Verdict;
  CHECK(trips({"PS1", 480e3, 420e3, 10e3}).verdict == Verdict::accept);
  // The limit, 520 kPa, lies between two steps of the air: neither kept nor broken.
  const auto near = trips({"PS1", 529e3, 420e3, 13e3});
  CHECK(near.findings.empty());
  CHECK(near.verdict == Verdict::hold);
  CHECK(near.left_out.back().find("too near to tell") != std::string::npos);
  const double limit = profile.find_part("PS1")->pressure_switch()->trip_Pa;
  const double reset = profile.find_part("PS1")->pressure_switch()->reset_Pa;
  CHECK(trips({"PS1", limit, reset, 13e3}).verdict == Verdict::accept);
  CHECK(trips({"PS1", limit, reset - 1, 13e3}).verdict == Verdict::hold);
  CHECK(trips({"PS1", limit, reset - 14e3, 13e3}).verdict == Verdict::reject);
  CHECK(only_kind(trips({"PS1", 560e3, 420e3, 10e3})) == "trip-high");
  CHECK(only_kind(trips({"PS1", std::nullopt, std::nullopt, 10e3})) == "trip-high");
  CHECK(only_kind(trips({"PS1", 480e3, 300e3, 10e3})) == "reset-low");
  const auto current = study_gears(profile,
                                   gears_seen(profile,
                                              [](auto* gear, auto& row) {
                                                if (!gear || gear->name != "4") return;
                                                row.current_A = 1.9, row.expected_A = 3.0;
                                              }),
                                   {});
  CHECK(only_kind(current) == "gear-current");
}

TEST_CASE("coils of a gear that a person would not have driven hold the gears") {
  const auto profile = load("six-speed-20-pin");
  const auto study = [&](const std::function<void(GearSeen&)>& change) {
    return study_gears(profile,
                       gears_seen(profile,
                                  [&](const profile::Gear* gear, GearSeen& row) {
                                    if (gear && gear->name == "4") change(row);
                                  }),
                       {});
  };
  const auto named = [](const GearStudy& out) {
    return std::any_of(out.left_out.begin(), out.left_out.end(), [](const std::string& line) {
      return line == "the coils of gear 4: nobody stood clear";
    });
  };
  const auto refused =
      study([](GearSeen& row) { row.drive_refused = true, row.not_driven = "nobody stood clear"; });
  CHECK(refused.findings.empty());
  CHECK(refused.verdict == inspection::Verdict::hold);
  CHECK(named(refused));
  // A bench that drives nothing was never meant to.
  const auto unable = study([](GearSeen& row) { row.not_driven = "this bench drives no coils"; });
  CHECK(unable.verdict == inspection::Verdict::accept);
  CHECK_FALSE(named(unable));
  // What is bad is bad, whoever refused what.
  const auto both =
      study([](GearSeen& row) { row.drive_refused = true, row.switches["PS1"].state = 'o'; });
  CHECK(both.verdict == inspection::Verdict::reject);
}

TEST_CASE("a gear table of which nothing was seen is held") {
  auto profile = load("six-speed-20-pin");
  std::erase_if(profile.parts, [](const profile::Part& part) { return part.pressure_switch(); });
  const auto seen = [&](const std::function<void(const profile::Gear*, GearSeen&)>& change) {
    return study_gears(profile, gears_seen(profile, change), {});
  };
  const auto says_so = [](const GearStudy& study) {
    return std::any_of(study.left_out.begin(), study.left_out.end(), [](const std::string& line) {
      return line.find("nothing of it was seen") != std::string::npos;
    });
  };
  const auto blind = seen([](auto*, GearSeen& row) { row.not_driven = "this bench drives none"; });
  CHECK(blind.findings.empty());
  CHECK(blind.verdict == inspection::Verdict::hold);
  CHECK(says_so(blind));
  // One current is something.
  const auto driven = seen([](const profile::Gear* gear, GearSeen& row) {
    if (gear && gear->name == "4") row.current_A = 3.0, row.expected_A = 3.0;
  });
  CHECK(driven.verdict == inspection::Verdict::accept);
  CHECK_FALSE(says_so(driven));
  // And so is one switch; but at rest it says nothing of any gear.
  auto without_gears = load("six-speed-20-pin");
  without_gears.gears.clear();
  const auto rest = study_gears(without_gears, gears_seen(without_gears, [](auto*, auto&) {}), {});
  CHECK(rest.findings.empty());
  CHECK(rest.verdict == inspection::Verdict::hold);
  CHECK(says_so(rest));
}

TEST_CASE("a supply that does not hold its voltage has loaded no gear") {
  const auto profile = load("six-speed-20-pin");
  const auto study = [&](const GearPulse& pulse) {
    return study_gears(profile,
                       gears_seen(profile,
                                  [&](const profile::Gear* gear, GearSeen& row) {
                                    if (gear && gear->name == "4") take_pulse(pulse, row);
                                  }),
                       {});
  };
  const auto says = [](const GearStudy& out, const std::string& words) {
    return std::any_of(out.left_out.begin(), out.left_out.end(), [&](const std::string& line) {
      return line.starts_with("the coils of gear 4: ") && line.find(words) != std::string::npos;
    });
  };
  const double siemens = 0.2;
  CHECK(study({13.3, 13.3 * siemens, 13.5, 4, siemens}).verdict == inspection::Verdict::accept);
  // The current is right for the voltage that was there: a good pack, but hardly loaded.
  for (const double volt : {1.0, 12.7, 14.3}) {
    const auto weak = study({volt, volt * siemens, 13.5, 4, siemens});
    CHECK(weak.findings.empty());
    CHECK(weak.verdict == inspection::Verdict::hold);
    CHECK(says(weak, format_si(volt, Unit::volt, 3) + " of 13.5 V"));
  }
  // Nor is it the coils' fault what a weak supply gives.
  CHECK(study({6, 0.5 * 6 * siemens, 13.5, 4, siemens}).verdict == inspection::Verdict::hold);
  // In its limit it is held down by the coils.
  CHECK(only_kind(study({2, 3.9, 13.5, 4, siemens})) == "gear-current");
  const auto unseen = study({std::nan(""), 2.7, 13.5, 4, siemens});
  CHECK(unseen.findings.empty());
  CHECK(unseen.verdict == inspection::Verdict::hold);
  CHECK(says(unseen, "not recorded"));
}

}  // namespace
}  // namespace pinproof::lever
