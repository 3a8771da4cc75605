#include "screen/teller.h"

#include <algorithm>
#include <utility>

#include "quantity/error.h"

namespace pinproof::screen {

namespace {

bool is_read(const std::vector<inspection::LeverRow>& rows) {
  return std::any_of(rows.begin(), rows.end(), [](const inspection::LeverRow& row) {
    return std::any_of(row.seen.begin(), row.seen.end(), [](char c) { return c != '?'; });
  });
}

// An open on pins of which nothing has been read so far; what it is will show.
bool is_pending(const inspection::Result& r) {
  using inspection::Outcome;
  return r.outcome == Outcome::skipped || (r.outcome == Outcome::undecided && !r.value);
}

}  // namespace

Teller::Teller(Feed& feed, Answers& answers, const profile::Profile& profile,
               const bench::Description& bench, record::Header header, bool judges)
    : feed_(feed),
      answers_(answers),
      profile_(profile),
      bench_(bench),
      judges_(judges),
      following_(profile, std::move(header)),
      thread_([this] { work(); }) {}

Teller::~Teller() {
  {
    const std::lock_guard lock(mutex_);
    end_ = true;
  }
  wake_.notify_all();
  thread_.join();
}

void Teller::on_event(const record::Event& event) {
  // The bench proves itself in a run of its own, before a diagnosis and after: that is no end.
  if (!judges_ && std::holds_alternative<record::Finished>(event)) return;
  if (auto told = event_json(event)) feed_.add(told->name, std::move(told->data));
  if (!judges_) return;
  {
    const std::lock_guard lock(mutex_);
    waiting_.push_back(event);
    shown_.reset();  // it has become the reading
  }
  wake_.notify_all();
}

void Teller::catch_up(const record::Record& record) {
  for (const record::Event& event : record.events) on_event(event);
}

void Teller::on_step(const inspection::Ahead& ahead) {
  step_ = *ahead.step;
  feed_.set("progress", progress_json({ahead.done, ahead.of, ahead.left_s, step_->key.check,
                                       step_->key.subject}));
  if (by_hand) return;
  bench::Connection between;
  if (const auto* ohm = std::get_if<inspection::OhmStep>(&step_->action)) between = ohm->between;
  const auto* drive = std::get_if<inspection::DriveStep>(&step_->action);
  if (drive) between = drive->drive;
  look(heading_of(step_->key.check) + ": " + step_->key.subject,
       text_of(inspection::condition_of(profile_, step_->state)), between, drive != nullptr);
}

void Teller::look(const std::string& title, const std::string& text,
                  const bench::Connection& between, bool driven) {
  AskTold told;
  told.n = answers_.ask();
  told.kind = "look";
  told.title = title, told.text = text;
  told.red = between.high, told.black = between.low;
  if (driven) told.caution = "The coil is driven: keep your hands off the pack.";
  feed_.set("ask", ask_json(told));
}

void Teller::show_live(LiveTold live, const bench::ShownOhms& shown) {
  if (!judges_ || !step_ || !std::holds_alternative<inspection::OhmStep>(step_->action)) {
    feed_.set("live", live_json(live));
    return;
  }
  {
    const std::lock_guard lock(mutex_);
    shown_ =
        ShownNow{std::move(live), shown, *step_, inspection::condition_of(profile_, step_->state)};
  }
  wake_.notify_all();
}

void Teller::work() {
  std::unique_lock lock(mutex_);
  while (true) {
    wake_.wait(lock, [&] { return end_ || !waiting_.empty() || shown_; });
    if (end_) return;
    busy_ = true;
    std::vector<record::Event> events = std::exchange(waiting_, {});
    std::optional<ShownNow> shown = std::exchange(shown_, std::nullopt);
    lock.unlock();
    try {
      if (!events.empty()) judge(std::move(events));
      if (shown) tell_live(*std::move(shown));
    } catch (const std::exception& e) {
      // What cannot be shown must not end a run that may have a coil on.
      feed_.add("said", text_json("text", std::string("Not judged on the way: ") + e.what()));
    }
    lock.lock();
    busy_ = false;
    idle_.notify_all();
  }
}

void Teller::judge(std::vector<record::Event> events) {
  const bool over = std::any_of(events.begin(), events.end(), [](const record::Event& e) {
    return std::holds_alternative<record::Finished>(e);
  });
  auto change = following_.add(std::move(events));
  // No news yet; what is still so in the end is told with the verdict.
  if (!over)
    std::erase_if(change.results, [&](const inspection::Result& r) {
      if (is_pending(r)) untold_.insert(r.id());
      return is_pending(r);
    });
  for (const auto& r : change.results) untold_.erase(r.id());
  if (!change.results.empty()) feed_.add("results", results_json(change.results));
  for (const auto& finding : change.findings) feed_.add("finding", finding_json(finding));
  for (const auto& trace : change.traces) feed_.add("marks", marks_json(trace));
  if (change.lever && is_read(following_.lever()))
    feed_.set("lever_table", lever_table_json(following_.lever(), ""));
}

void Teller::tell_live(ShownNow shown) {
  const auto& ohm = std::get<inspection::OhmStep>(shown.step.action);
  const auto reading = inspection::as_reading(bench_, following_.record(), shown.step.key, ohm,
                                              shown.condition, shown.shown);
  if (reading) shown.live.result = following_.would_be(*reading);
  if (shown.live.result && is_pending(*shown.live.result)) shown.live.result.reset();
  feed_.set("live", live_json(shown.live));
}

void Teller::verdict(const VerdictTold& told) {
  {
    std::unique_lock lock(mutex_);
    idle_.wait(lock, [&] { return !busy_ && waiting_.empty(); });
  }
  feed_.set("ask", ask_json({}));
  std::vector<inspection::Result> rest;
  for (const auto& r : told.judgement->results)
    if (untold_.contains(r.id())) rest.push_back(r);
  if (!rest.empty()) feed_.add("results", results_json(rest));
  feed_.add("verdict", verdict_json(told));
}

}  // namespace pinproof::screen
