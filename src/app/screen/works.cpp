#include "app/screen/works.h"

#include <algorithm>
#include <filesystem>

#include "app/command.h"
#include "app/screen/console.h"
#include "app/screen/eye.h"
#include "inspection/judge/judge.h"
#include "profile/load.h"
#include "quantity/characters.h"
#include "quantity/error.h"
#include "quantity/version.h"
#include "screen/findings.h"
#include "session/diagnosing.h"
#include "session/lever_proof.h"

namespace pinproof::app {
namespace {

std::string fault_of(const std::exception_ptr& stopped, Fault& fault) {
  try {
    std::rethrow_exception(stopped);
  } catch (const Error& e) {
    fault = e.fault();
    return e.what();
  }
}

bool hand_held(const bench::Description& bench) {
  const auto* probes = bench.find("probes");
  return probes && probes->driver == "hand";
}

}  // namespace

// One run, from its wish to what the page was told last.
struct ScreenWorks::Job {
  const screen::Wish& wish;
  std::uint64_t number;
  profile::Profile profile;
  std::unique_ptr<DemoBench> demo;
  Stage stage;
  BenchOptions bench;
  std::stop_token stop;

  void tell_run(screen::Feed& feed, const record::Header& header,
                const bench::Description& description, const char* level) const {
    screen::RunTold told;
    told.run = number;
    told.wish = &wish;
    told.profile_name = profile.name;
    told.bench_name = description.name;
    told.level = level;
    told.started_at = header.started_at;
    told.lot = wish.lot;
    told.note = wish.note;
    told.by_hand = hand_held(description);
    feed.add("run", screen::run_json(told));
  }
};

ScreenWorks::ScreenWorks(ScreenSetup setup, screen::Feed& feed)
    : setup_(std::move(setup)), feed_(feed) {}

ScreenWorks::~ScreenWorks() = default;

screen::Offer ScreenWorks::offer() const {
  screen::Offer out;
  out.version = version_number();
  out.demo = setup_.demo;
  out.ledger = !setup_.ledger.place().empty();
  out.profiles = setup_.profiles;
  if (setup_.demo) {
    out.benches = {{kDemoRelays, false, true}, {kDemoHand, true, false}};
    out.packs = demo_packs();
    return out;
  }
  for (const auto& [name, file] : setup_.benches) {
    const auto description = bench::load_description(file);
    out.benches.push_back({name, hand_held(description), description.find("supply") != nullptr});
  }
  return out;
}

// Only what was offered: no path of anybody's choice is opened.
profile::Profile ScreenWorks::load(const std::string& name) const {
  if (std::find(setup_.profiles.begin(), setup_.profiles.end(), name) == setup_.profiles.end())
    throw Error(Fault::usage, "no profile of this name is offered here");
  return profile::load_profile(find_profile(name));
}

BenchOptions ScreenWorks::bench_of(const screen::Wish& wish) const {
  BenchOptions out;
  out.dialects = setup_.dialects;
  out.celsius = wish.celsius;
  const bool demo = setup_.demo && (wish.bench == kDemoRelays || wish.bench == kDemoHand);
  const auto it = setup_.benches.find(wish.bench);
  if (!demo && it == setup_.benches.end())
    throw Error(Fault::usage, "no bench of this name is offered here");
  if (!demo) out.bench = it->second;
  return out;
}

session::Inspection ScreenWorks::inspection_of(const screen::Wish& wish) const {
  using CutOff = session::Inspection::CutOff;
  session::Inspection out;
  out.profile_file = find_profile(wish.profile);
  out.serial = clean_text(wish.serial, screen::Desk::kLongestText);
  out.lot = clean_text(wish.lot, screen::Desk::kLongestText);
  out.note = clean_text(wish.note, screen::Desk::kLongestText);
  out.ledger = setup_.ledger.place();
  out.only_static = wish.only_static;
  out.cut_off = wish.resume == "go-on"  ? CutOff::go_on
                : wish.resume == "anew" ? CutOff::begin_anew
                                        : CutOff::refuse;
  return out;
}

void ScreenWorks::check(const screen::Wish& wish) {
  const auto profile = load(wish.profile);
  bench_of(wish);
  if (wish.work == "lever" && !profile.lever) throw Error(Fault::usage, "this pack has no lever");
  if (wish.work != "inspect" || wish.resume != "no") return;
  try {
    session::refuse_cut_off(inspection_of(wish), profile);
  } catch (const session::CutOffError& e) {
    throw screen::CutOffStart(
        e.fault(), "The inspection of this serial that began at " + e.began_at + " was cut off.");
  }
}

void ScreenWorks::run(const screen::Wish& wish, std::uint64_t number, screen::Answers& answers,
                      const std::stop_token& stop) {
  Job job{wish, number, load(wish.profile), nullptr, {feed_, answers}, bench_of(wish), stop};
  if (job.bench.bench.empty()) {
    job.demo =
        std::make_unique<DemoBench>(job.profile, wish.serial, wish.bench == kDemoHand,
                                    setup_.dialects.empty() ? dialect_folder() : setup_.dialects);
    job.bench.bench = job.demo->file();
    job.stage.helper = job.demo->helper();
  }
  job.bench.console = [&] { return screen_console(job.stage); };
  job.bench.stop = stop;
  if (wish.work == "inspect") return inspect(job);
  if (wish.work == "diagnose") return diagnose(job);
  lever(job);
}

void ScreenWorks::inspect(Job& job) {
  session::Inspecting inspecting(inspection_of(job.wish), job.profile, opener(job.bench));
  const auto& header = inspecting.record().header;
  const auto& description = inspecting.bench().description();
  job.tell_run(feed_, header, description, header.full ? "full" : "static");
  screen::Teller teller(feed_, job.stage.answers, job.profile, description, header, true);
  teller.by_hand = hand_held(description);
  teller.catch_up(inspecting.record());
  job.stage.teller = &teller;
  const auto done = inspecting.run({&teller}, {&teller});
  job.stage.teller = nullptr;
  teller.verdict({&done.judgement, &inspecting.record().header, inspecting.keeps()});
  if (!done.told.empty()) feed_.add("told", screen::text_json("text", done.told));
  if (!done.stopped) return;
  Fault fault = Fault::bench;
  const std::string what = fault_of(done.stopped, fault);
  if (fault != Fault::aborted) throw Error(fault, what);
}

void ScreenWorks::diagnose(Job& job) {
  OpenBench opened(job.bench, &job.profile);
  record::Record record;
  record.header = opened.header(job.profile);
  job.tell_run(feed_, record.header, opened.description(), "static");
  screen::Teller teller(feed_, job.stage.answers, job.profile, opened.description(), record.header,
                        false);
  teller.by_hand = hand_held(opened.description());
  job.stage.teller = &teller;
  auto run = opened.run_options(job.profile, {&teller});
  run.watchers = {&teller};
  session::DiagnosisAsked asked;
  asked.codes = job.wish.codes;
  std::optional<Estimate> entered;
  if (job.wish.celsius) entered = Estimate{*job.wish.celsius, 2};
  session::Diagnosing diagnosing(job.profile, opened, run, record, asked, entered);
  const auto tell = [&](const session::DiagnosisDesk& desk, diagnosis::Search& search, bool done) {
    const auto input = desk.input(search);
    const auto conclusion = diagnosis::conclude(input, search.ranking(), search.next());
    feed_.set("ranking", screen::ranking_json(input, conclusion, pin_text, done));
    if (done || teller.by_hand || !conclusion.next) return;
    const auto& probe = desk.probes[conclusion.next->probe];
    const auto& names = desk.model;
    teller.look("Next probe", text_of(desk.scene, probe),
                {{names.name(probe.sight.c)}, {names.name(probe.sight.d)}},
                probe.kind != diagnosis::ProbeKind::ohm);
  };
  diagnosing.run([&](const auto& desk, auto& search) { tell(desk, search, false); },
                 [](const std::string&) {});
  tell(diagnosing.desk(), diagnosing.search(), true);
  feed_.add("finished", screen::finished_json(true, ""));
}

void ScreenWorks::lever(Job& job) {
  lever::RangeCode code = lever::code_of(job.profile);
  auto taps = lever::taps_of(job.profile, code);
  job.bench.hands = false;  // a lever that is moved by hand is recognised without keys
  OpenBench opened(job.bench, &job.profile);
  record::Record record;
  record.header = opened.header(job.profile);
  job.tell_run(feed_, record.header, opened.description(), "static");
  screen::Teller teller(feed_, job.stage.answers, job.profile, opened.description(), record.header,
                        false);
  teller.by_hand = true;  // positions, not pins, are what one looks at
  job.stage.teller = &teller;
  const auto run = opened.run_options(job.profile, {&teller});
  ScreenEye eye(feed_, job.stage.answers, code);
  const auto tested =
      session::test_lever(job.profile, code, std::move(taps), opened, run, {}, eye, record);
  feed_.add("lever_result", screen::lever_result_json(tested.study));
  feed_.add("finished", screen::finished_json(true, ""));
}

std::string ScreenWorks::profile(const std::string& name) {
  return screen::profile_json(load(name));
}

std::optional<screen::Reply> ScreenWorks::page(const screen::Request& request) {
  return record_page(setup_.ledger, setup_.profiles, request);
}

}  // namespace pinproof::app
