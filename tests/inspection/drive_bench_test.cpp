// Faults of the bench while coils are driven: they are blamed on the bench, and hide no bad pack.
#include "inspection/checks/drive_bench.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "inspection/checks/suppression.h"
#include "inspection/rig.h"

using namespace pinproof;
using namespace pinproof::inspection;
using tests::inspect;
using tests::load;

namespace {

constexpr const char* kProfiles[] = {"six-speed-20-pin", "four-speed-13-pin"};

bool says(const Judgement& judgement, Outcome outcome, const std::string& words) {
  return std::any_of(judgement.results.begin(), judgement.results.end(), [&](const Result& r) {
    return r.outcome == outcome && r.text.find(words) != std::string::npos;
  });
}

bool has_fail(const Judgement& judgement) {
  return std::any_of(judgement.results.begin(), judgement.results.end(),
                     [](const Result& r) { return r.outcome == Outcome::fail; });
}

// Coils of the six-speed profile with these resistances at rest and under load.
struct Loaded {
  profile::Profile profile = load("six-speed-20-pin");
  record::Record record;
  std::vector<CoilTrace> traces;

  void add(const std::string& coil, double rest_ohm, double load_ohm) {
    record::Reading reading;
    reading.key = {"coil-resistance", coil, ""};
    reading.measured = {Unit::ohm, {.value = rest_ohm, .u = 1e-3 * rest_ohm}};
    record.events.push_back(reading);
    CoilTrace trace;
    trace.coil = coil;
    trace.figures.status = waveform::Status::ok;
    trace.figures.resistance_ohm = {load_ohm, 1e-3 * load_ohm};
    traces.push_back(trace);
  }
  CurrentScale scale() const { return current_scale(Evidence(profile, record), traces); }
};

/// Answers for one sweep with an earlier one, as one whose trigger was missed.
class Stale : public bench::Digitiser {
 public:
  Stale(std::unique_ptr<bench::Digitiser> real, std::size_t at, std::size_t with)
      : real_(std::move(real)), at_(at), with_(with) {}
  std::string name() const override { return real_->name(); }
  void arm(const bench::SweepSetup& setup, const bench::Patience& patience) override {
    real_->arm(setup, patience);
  }
  bench::Sweep fetch(const bench::Patience& patience) override {
    taken_.push_back(real_->fetch(patience));
    return taken_.size() == at_ ? taken_.at(with_ - 1) : taken_.back();
  }

 private:
  std::unique_ptr<bench::Digitiser> real_;
  std::size_t at_, with_;
  std::vector<bench::Sweep> taken_;
};

}  // namespace

TEST_CASE("a coil is not judged by the sweep of a coil before") {
  // The third is coil C's, and stuck open; answered with B's, and with A's.
  const std::size_t at_with[][2] = {{2, 1}, {3, 2}, {3, 1}, {4, 3}};
  for (const auto& [at, with] : at_with) {
    CAPTURE(at);
    const auto run = inspect(load("six-speed-20-pin"), 7, {"coil C: stuck-open"}, true,
                             [&, at = at, with = with](bench::Instruments& instruments) {
                               instruments.digitiser = std::make_unique<Stale>(
                                   std::move(instruments.digitiser), at, with);
                             });
    CHECK(run.judgement.verdict != Verdict::accept);
    CHECK(run.exit_code == 4);
    CHECK(run.judgement.why.find("have come before: it took no new sweep") != std::string::npos);
    if (at == 3) CHECK(run.judgement.why.find(" of C have come") != std::string::npos);
  }
}

TEST_CASE("a channel that rests may read as it did before") {
  // Of a supply that is wired to both inputs nothing moves, sweep after sweep.
  class Resting : public Stale {
   public:
    explicit Resting(std::unique_ptr<bench::Digitiser> real) : Stale(std::move(real), 0, 0) {}
    bench::Sweep fetch(const bench::Patience& patience) override {
      bench::Sweep out = Stale::fetch(patience);
      std::fill(out.probe_V.begin(), out.probe_V.end(), 0.0);
      out.probe_V[out.probe_V.size() / 2] = 0.4;  // a step or two of a coarse converter
      return out;
    }
  };
  const auto run =
      inspect(load("six-speed-20-pin"), 7, {}, true, [](bench::Instruments& instruments) {
        instruments.digitiser = std::make_unique<Resting>(std::move(instruments.digitiser));
      });
  CHECK(run.judgement.why.find("have come before") == std::string::npos);
}

TEST_CASE("suppression is not proven where the bench itself holds the coil") {
  const record::Record good = inspect(load("six-speed-20-pin"), 7, {}).record;
  profile::Suppression wanted;
  record::PulseCapture capture;
  for (const record::Event& event : good.events)
    if (const auto* c = std::get_if<record::PulseCapture>(&event); c && c->key.subject == "C")
      capture = *c;
  REQUIRE(!capture.probe_V.empty());
  const auto seen = [&](profile::SuppressionKind kind, double clamp_V) {
    wanted.kind = kind;
    return suppression_seen(wanted, capture, capture.pulse_s, clamp_V).outcome;
  };
  using profile::SuppressionKind;
  CHECK(seen(SuppressionKind::diode, 0) == Outcome::pass);
  CHECK(seen(SuppressionKind::diode, 33) == Outcome::pass);
  CHECK(seen(SuppressionKind::diode, 0.7) == Outcome::undecided);  // the supply's own diode
  CHECK(seen(SuppressionKind::none, 33) == Outcome::fail);
  CHECK(seen(SuppressionKind::none, 0.7) == Outcome::undecided);
}

TEST_CASE("a zener is not proven where the digitiser's range ends") {
  profile::Profile profile = load("six-speed-20-pin");
  const auto run = inspect(profile, 7, {"coil C: suppression-missing"});
  REQUIRE(run.judgement.verdict == Verdict::reject);
  const auto judged = [&](double zener_V, double clip_V, double clamp_V = 0) {
    for (profile::Part& part : profile.parts)
      if (part.name == "C") {
        part.coil()->suppression.kind = profile::SuppressionKind::zener;
        part.coil()->suppression.zener_V = zener_V;
      }
    record::Record record = run.record;
    record.header.bench_clamp_V = clamp_V;
    for (record::Event& event : record.events)
      if (auto* capture = std::get_if<record::PulseCapture>(&event);
          capture && capture->key.subject == "C")
        capture->clip_V = clip_V;
    for (const Result& r : judge(profile, record).results)
      if (r.subject == "C" && r.title.find("suppression") != std::string::npos) return r.outcome;
    return Outcome::skipped;
  };
  CHECK(judged(18, 50) == Outcome::fail);  // it falls to the bench's own clamp of 33 V
  CHECK(judged(30, 33) == Outcome::undecided);
  CHECK(judged(30, 50) == Outcome::pass);  // nobody said where the bench clamps
  CHECK(judged(18, 20) == Outcome::undecided);
  CHECK(judged(18, 33) == Outcome::fail);  // the range ends beyond the band: what is there is lost
  REQUIRE(run.record.header.bench_clamp_V == 33);
  CHECK(judged(30, 50, 33) == Outcome::undecided);
  CHECK(judged(18, 50, 33) == Outcome::fail);
  CHECK(judged(45, 50, 33) == Outcome::undecided);  // the bench's holds it before the pack's does
  CHECK(judged(24, 50, 50) == Outcome::pass);       // it would show beyond the band
}

TEST_CASE("good packs prove the bench under load") {
  for (const char* name : kProfiles)
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
      const auto run = inspect(load(name), seed, {});
      CHECK(run.judgement.verdict == Verdict::accept);
      CHECK(says(run.judgement, Outcome::pass, "no error of the current in common"));
      CHECK(says(run.judgement, Outcome::pass, "farthest off"));
    }
}

TEST_CASE("a shunt that is not what the bench file says is no pack's fault") {
  for (const char* name : kProfiles)
    for (const char* fault : {"bench: wrong-shunt 20 %", "bench: wrong-shunt -20 %",
                              "bench: wrong-shunt 5 %", "bench: wrong-shunt 60 %"}) {
      CAPTURE(name);
      CAPTURE(std::string(fault));
      const auto run = inspect(load(name), 5, {fault});
      CHECK(run.exit_code == 4);
      CHECK(says(run.judgement, Outcome::bench_fault, "current is measured wrong by"));
      CHECK(run.judgement.findings.empty());
      CHECK_FALSE(has_fail(run.judgement));
    }
}

TEST_CASE("a shunt changes the share, a joint in a common wire the ohms") {
  const char* alike[] = {"A", "B", "C", "D", "E"};
  Loaded shunt, joint, twins, good, one_bad;
  for (const char* coil : alike) {
    shunt.add(coil, 13, 13 / 1.2), joint.add(coil, 13, 13.6), twins.add(coil, 13, 13.6);
    good.add(coil, 13, 13.02), one_bad.add(coil, 13, *coil == 'B' ? 15 / 1.2 : 13 / 1.2);
  }
  shunt.add("TCC", 5.3, 5.3 / 1.2), joint.add("TCC", 5.3, 5.9), good.add("TCC", 5.3, 5.31);
  one_bad.add("TCC", 5.3, 5.3 / 1.2);
  CHECK(shunt.scale().wrong);
  CHECK_FALSE(shunt.scale().could_be_joint);
  CHECK(shunt.scale().off_percent.value == doctest::Approx(20).epsilon(0.001));
  CHECK_FALSE(joint.scale().wrong);
  CHECK(twins.scale().wrong);
  CHECK(twins.scale().could_be_joint);
  CHECK_FALSE(good.scale().wrong);
  CHECK(one_bad.scale().wrong);
  Loaded single;
  single.add("A", 13, 15);
  CHECK_FALSE(single.scale().wrong);
  CHECK(single.scale().coils == 1);
}

TEST_CASE("a supply that gives way below its limit is a bench fault") {
  for (const char* name : kProfiles) {
    const auto run = inspect(load(name), 5, {"bench: supply-sag 20 %"});
    CHECK(run.exit_code == 4);
    CHECK(says(run.judgement, Outcome::bench_fault, "the supply fell from 13."));
    CHECK_FALSE(says(run.judgement, Outcome::fail, "went into its limit"));
  }
}

TEST_CASE("a pack that draws too much still fails") {
  const auto run = inspect(load("six-speed-20-pin"), 5, {"coil A: suppression-reversed"});
  CHECK(run.exit_code == 1);
  CHECK(says(run.judgement, Outcome::fail, "went into its limit"));
}

TEST_CASE("hum is a bench fault before it is a plunger's") {
  int held = 0;
  for (const char* name : kProfiles)
    for (const char* fault : {"bench: hum 20 mV", "bench: hum 50 mV", "bench: hum 65 mV",
                              "bench: hum 80 mV", "bench: hum 0.2 V", "bench: hum 1 V"})
      for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        CAPTURE(name);
        CAPTURE(std::string(fault));
        CAPTURE(seed);
        const auto run = inspect(load(name), seed, {fault});
        CHECK(run.judgement.verdict != Verdict::reject);
        held += says(run.judgement, Outcome::bench_fault, "while the load stands");
      }
  MESSAGE("named in ", held, " of 96");
  CHECK(held > 0);
}

TEST_CASE("a swing of the supply is told from its sag") {
  record::PulseCapture capture;
  capture.interval_s = 20e-6, capture.pulse_s = 60e-3, capture.set_V = 13.5;
  waveform::CoilFigures figures;
  figures.onset_s = 0, figures.off_s = 60e-3;
  const auto with = [&](double hum_V, double sag_V) {
    capture.supply_V.clear();
    for (int k = 0; k < 3000; ++k) {
      const double t = k * capture.interval_s;
      capture.supply_V.push_back(13.5 - sag_V * (1 - std::exp(-t / 10e-3)) +
                                 hum_V * std::sin(2 * 3.14159265 * 50 * t));
    }
    return supply_ripple_V(capture, figures).value();
  };
  CHECK(with(0, 0) == doctest::Approx(0).epsilon(1e-9));
  CHECK(with(0, 1) < 0.03);
  CHECK(with(0.1, 0) == doctest::Approx(0.2).epsilon(0.02));
  CHECK(with(0.1, 1) == doctest::Approx(0.2).epsilon(0.2));
  capture.supply_V.clear();
  CHECK_FALSE(supply_ripple_V(capture, figures).has_value());
}

TEST_CASE("leads that changed places are a bench fault") {
  for (const char* fault :
       {"bench: shunt-swapped", "bench: probe-swapped", "bench: supply-swapped"}) {
    CAPTURE(std::string(fault));
    const auto run = inspect(load("four-speed-13-pin"), 5, {fault});
    CHECK(run.exit_code == 4);
    CHECK(says(run.judgement, Outcome::bench_fault, "changed places"));
  }
}

TEST_CASE("lost and doubled samples and bursts reject no good pack and hide no bad one") {
  int held = 0, runs = 0;
  for (const char* fault : {"bench: dropped-samples 2 %", "bench: duplicated-samples 2 %",
                            "bench: noise-burst 0.2 V"}) {
    CAPTURE(std::string(fault));
    for (const char* name : kProfiles)
      for (std::uint64_t seed = 1; seed <= 6; ++seed, ++runs) {
        const auto good = inspect(load(name), seed, {fault});
        CHECK(good.judgement.verdict != Verdict::reject);
        held += good.exit_code == 4;
      }
    for (const char* bad : {"coil A: sticky 40", "coil A: weak-spring 75 %", "coil A: stuck-open"})
      CHECK(inspect(load("six-speed-20-pin"), 9, {bad, fault}).judgement.verdict !=
            Verdict::accept);
  }
  MESSAGE("held for the bench ", held, " of ", runs);
  CHECK(held >= runs - 4);  // a block that is lost where nothing changes does no harm
}

TEST_CASE("a winding that opens for a while fails and is no bench fault") {
  int failed = 0;
  for (std::uint64_t seed = 1; seed <= 9; ++seed) {
    const auto run = inspect(load("six-speed-20-pin"), seed, {"coil B: intermittent"});
    CHECK(run.exit_code != 4);
    failed += says(run.judgement, Outcome::fail, "broke off");
    CHECK(run.judgement.verdict != Verdict::accept);
  }
  CHECK(failed >= 6);
  // Once in the settled part of the pulse, which leaves all its figures right.
  CHECK(inspect(load("four-speed-13-pin"), 104, {"coil S1: intermittent"}).exit_code == 1);
}
