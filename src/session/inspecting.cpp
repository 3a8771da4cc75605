#include "session/inspecting.h"

#include <algorithm>
#include <ctime>

#include "inspection/judge/judge.h"
#include "inspection/judge/judged.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "quantity/lines.h"
#include "quantity/text.h"
#include "record/json.h"

namespace pinproof::session {
namespace {

constexpr std::size_t kLargestProfile = std::size_t{16} << 20;

void leave(Keeping& keeping, const profile::Profile& profile, const std::string& id) {
  const record::Record record = keeping.resume(id);
  const auto judgement = inspection::judge(profile, record);
  keeping.close("left", inspection::judged_of(judgement, profile.hash, record.header.program));
}

// The id of the attempt to go on with, or empty. One that was cut off is neither forgotten nor
// gone on with unasked.
std::string cut_off(Keeping& keeping, const profile::Profile& profile, const Inspection& wanted) {
  using CutOff = Inspection::CutOff;
  const bool resume = wanted.cut_off == CutOff::go_on;
  if (resume && wanted.serial.empty())
    throw Error(Fault::usage,
                "--resume needs --serial: without a serial nobody knows whose readings they are");
  if (!keeping.keeps()) {
    if (resume) throw Error(Fault::usage, "--resume: no ledger, nothing to go on with");
    return "";
  }
  record::LedgerQuery search;
  search.serial = wanted.serial, search.open_only = true;
  std::vector<record::Attempt> open = keeping.ledger().find(search);
  std::erase_if(open, [&](const record::Attempt& a) {
    return a.running || a.serial != wanted.serial || a.profile_hash != profile.hash;
  });
  if (resume) {
    if (open.empty())
      throw Error(Fault::usage, "--resume: no inspection of serial \"" + shortened(wanted.serial) +
                                    "\" by this profile was cut off");
    return open.back().id;
  }
  if (wanted.cut_off == CutOff::begin_anew)
    for (const auto& attempt : open) leave(keeping, profile, attempt.id);
  else if (!open.empty() && !wanted.serial.empty())
    throw CutOffError("the inspection of " + shortened(wanted.serial) + " that began at " +
                          open.back().started_at +
                          " was cut off: go on with --resume, or begin again with --anew",
                      open.back().started_at);
  return "";
}

// What was read then must still hold now: the same bench with the same reference, the same shift.
void refuse_stale(const record::Header& then, const record::Header& now) {
  constexpr double kOldest_s = 8 * 3600;
  const auto same = [](const std::optional<Estimate>& a, const std::optional<Estimate>& b) {
    return a.has_value() == b.has_value() && (!a || (a->value == b->value && a->u == b->u));
  };
  const bool same_reference =
      same(then.reference, now.reference) && same(then.high_reference, now.high_reference);
  // Wires that were entered wrongly and put right since: what was read before is of other pins.
  const bool rewired = !then.bench_hash.empty() && then.bench_hash != now.bench_hash;
  if (rewired || then.bench_name != now.bench_name || !same_reference ||
      then.thermometer_u != now.thermometer_u)
    throw Error(Fault::usage, "--resume: it began on the bench \"" + then.bench_name +
                                  "\" or with other figures of it: begin again with --anew");
  std::tm began{};
  const bool read = ::strptime(then.started_at.c_str(), "%Y-%m-%dT%H:%M:%SZ", &began) != nullptr;
  if (!read || std::difftime(std::time(nullptr), ::timegm(&began)) > kOldest_s)
    throw Error(Fault::usage, "--resume: it began at " + then.started_at +
                                  ", more than 8 hours ago: its readings are stale, begin again "
                                  "with --anew");
}

bool is_over(const record::Record& record) {
  return std::any_of(record.events.begin(), record.events.end(), [](const record::Event& event) {
    return std::holds_alternative<record::Finished>(event);
  });
}

// Times go on where they stopped.
std::function<double()> clock_of(const record::Record& record, std::function<double()> now) {
  double last = 0;
  for (const record::Event& event : record.events) {
    if (const auto* reading = std::get_if<record::Reading>(&event)) last = reading->at_s;
    if (const auto* capture = std::get_if<record::PulseCapture>(&event)) last = capture->at_s;
  }
  return [last, now = std::move(now)] { return last + now(); };
}

}  // namespace

void refuse_cut_off(const Inspection& wanted, const profile::Profile& profile) {
  Keeping keeping(wanted.ledger);
  cut_off(keeping, profile, wanted);
}

Inspecting::Inspecting(const Inspection& wanted, profile::Profile profile, const BenchOpener& open)
    : profile_(std::move(profile)),
      keeping_(wanted.ledger),
      resumed_(cut_off(keeping_, profile_, wanted)),
      opened_(open(profile_)) {
  if (resumed_.empty())
    start(wanted);
  else
    go_on(resumed_);
}

void Inspecting::start(const Inspection& wanted) {
  record_.header = opened_->header(profile_);
  record_.header.serial = wanted.serial, record_.header.lot = wanted.lot;
  record_.header.note = wanted.note;
  record_.header.full =
      !wanted.only_static &&
      inspection::capabilities_of(opened_->description(), opened_->instruments()).drive;
  keeping_.begin(record_.header, read_file(wanted.profile_file, kLargestProfile));
}

void Inspecting::go_on(const std::string& id) {
  refuse_stale(keeping_.ledger().load_readings(id).header, opened_->header(profile_));
  record_ = keeping_.resume(id);
  record_.events.push_back(record::Resumed{record::utc_text()});
  keeping_.on_event(record_.events.back());
}

std::exception_ptr Inspecting::measure(std::vector<record::Listener*> listeners,
                                       std::vector<inspection::Watcher*> watchers) {
  listeners.insert(listeners.begin(), &keeping_);
  inspection::RunOptions run = opened_->run_options(profile_, std::move(listeners));
  run.watchers = std::move(watchers);
  run.full = record_.header.full;
  run.resumed = !resumed_.empty();
  run.now_s = clock_of(record_, run.now_s);
  try {
    inspection::run_inspection(run, record_);
  } catch (const Error&) {
    return std::current_exception();
  }
  return nullptr;
}

Inspecting::Done Inspecting::run(std::vector<record::Listener*> listeners,
                                 std::vector<inspection::Watcher*> watchers) {
  Done out;
  if (!is_over(record_)) out.stopped = measure(std::move(listeners), std::move(watchers));
  out.judgement = inspection::judge(profile_, record_);
  try {
    out.told =
        keeping_.close(inspection::how_it_ended(out.judgement, record_),
                       inspection::judged_of(out.judgement, profile_.hash, record_.header.program));
  } catch (const Error&) {
    // What was measured is kept, and said; only its verdict is not: --resume keeps that too, where
    // a serial says whose it is.
    if (!out.stopped) out.stopped = std::current_exception();
    out.told =
        "The verdict is NOT in the ledger: make room and " +
        std::string(record_.header.serial.empty() ? "inspect the pack again." : "say --resume.");
  }
  return out;
}

}  // namespace pinproof::session
