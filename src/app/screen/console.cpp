#include "app/screen/console.h"

#include <cmath>
#include <utility>

#include "bench/patience.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::app {
namespace {

using bench::Grip;
using bench::KeyPress;
using screen::AskTold;

const std::vector<std::string> kTouchActions{"take", "again", "back", "skip"};
const std::vector<std::string> kTaskActions{"take", "back", "skip", "skip_all"};

const char* words(Grip grip) {
  switch (grip) {
    case Grip::moving:
      return "not steady yet";
    case Grip::lift_first:
      return "lift the probes off the last pins";
    case Grip::open:
      return "open: take it if both probes are on";
    case Grip::open_expected:
      return "open, as it should be: take it if both probes are on";
    case Grip::unexpected:
      return "steady, but not as expected: take it, or move the probes";
    case Grip::taken:
      return "taken";
  }
  return "";
}

class ScreenConsole final : public bench::Console {
 public:
  explicit ScreenConsole(Stage& stage) : stage_(stage) {}

  void say(const std::string& text) override {
    stage_.feed.add("said", screen::text_json("text", text));
  }
  void live(const std::string&) override {}
  void beep() override { sound("unexpected"); }
  void forget_keys() override { taken_ = false; }

  void touch(const bench::ProbePair& pair) override;
  void held(const bench::ProbesHeld& held) override;
  void took(const bench::ProbesHeld& held) override;
  void task(const bench::HandTask& task) override;
  void task_waits(const bench::HandTask&) override {}
  std::optional<bench::KeyPress> key(Duration wait, const bench::Patience& patience) override;
  std::string ask(const std::string& question, const bench::Patience& patience) override;

 private:
  void tell(AskTold told) {
    told.n = ask_ = stage_.answers.ask();
    stage_.feed.set("ask", screen::ask_json(told));
    stage_.feed.set("live", screen::live_json({ask_, "", "", false, false, std::nullopt}));
  }
  void sound(const char* kind) { stage_.feed.set("sound", screen::sound_json(++sounds_, kind)); }

  Stage& stage_;
  std::uint64_t ask_ = 0, sounds_ = 0;
  bool taken_ = false;  // by the helper
  std::string reason_;  // came with a skip
};

void ScreenConsole::touch(const bench::ProbePair& pair) {
  using Where = bench::ProbePair::Where;
  AskTold told;
  told.kind = "touch";
  told.actions = kTouchActions;
  told.red_name = pair.red_name;
  told.black_name = pair.black_name;
  if (pair.where != Where::apart) {
    told.red = {pair.red};
    told.black = {pair.black};
  }
  switch (pair.where) {
    case Where::apart:
      told.title = "Hold the probes apart in the air";
      break;
    case Where::together:
      told.title = "Touch the two probes together";
      break;
    case Where::stay:
      told.title = "Keep the probes there";
      break;
    case Where::on_pins:
      told.title = "Touch";
  }
  if (pair.where != Where::together)
    told.expected =
        isfinite(pair.expected) ? "about " + format_si(pair.expected.si(), Unit::ohm, 2) : "open";
  tell(std::move(told));
  if (stage_.helper) stage_.helper->touch(pair);
}

void ScreenConsole::held(const bench::ProbesHeld& held) {
  screen::LiveTold live{
      ask_,        held.text, words(held.grip), held.grip == Grip::unexpected, held.shown.overload,
      std::nullopt};
  if (stage_.teller)
    stage_.teller->show_live(std::move(live), held.shown);
  else
    stage_.feed.set("live", screen::live_json(live));
  if (stage_.helper && stage_.helper->takes(held.grip)) taken_ = true;
}

void ScreenConsole::took(const bench::ProbesHeld&) { sound("took"); }

void ScreenConsole::task(const bench::HandTask& task) {
  auto [caution, text] = cautioned(task.what);
  AskTold told;
  told.kind = "do";
  told.title = std::move(text);
  told.caution = std::move(caution);
  told.all_of = task.kind;
  told.actions = kTaskActions;
  tell(std::move(told));
  sound("ask");
  if (stage_.helper && stage_.helper->task(task)) taken_ = true;
}

std::optional<bench::KeyPress> ScreenConsole::key(Duration wait, const bench::Patience& patience) {
  if (patience.stopped()) throw Error(Fault::aborted, "stopped");
  if (std::exchange(taken_, false)) {
    // As long as a hand takes: sooner, it is no answer to this question.
    bench::pause(Duration{0.4}, patience);
    return bench::KeyPress::take;
  }
  const auto answer = stage_.answers.get(ask_, wait, patience.stop());
  if (patience.stopped()) throw Error(Fault::aborted, "stopped");
  if (!answer) return std::nullopt;
  reason_ = answer->key.starts_with("skip") ? answer->text : "";
  if (answer->key == "take") return bench::KeyPress::take;
  if (answer->key == "again") return bench::KeyPress::again;
  if (answer->key == "back") return bench::KeyPress::back;
  if (answer->key == "skip") return bench::KeyPress::skip;
  if (answer->key == "skip_all") return bench::KeyPress::skip_all;
  return bench::KeyPress::other;
}

std::string ScreenConsole::ask(const std::string& question, const bench::Patience& patience) {
  if (!reason_.empty()) return std::exchange(reason_, "");
  if (stage_.helper)
    if (std::string known = stage_.helper->ask(question); !known.empty()) return known;
  AskTold told;
  told.kind = "text";
  told.title = told.question = question;
  told.actions = {"take"};
  tell(std::move(told));
  sound("ask");
  while (true) {
    if (patience.stopped()) throw Error(Fault::aborted, "stopped");
    const auto answer = stage_.answers.get(ask_, Duration{3600}, patience.stop());
    if (answer) return answer->text;
  }
}

}  // namespace

std::unique_ptr<bench::Console> screen_console(Stage& stage) {
  return std::make_unique<ScreenConsole>(stage);
}

Cautioned cautioned(const std::string& what) {
  constexpr std::string_view kSign = "CAUTION: ";
  if (!what.starts_with(kSign)) return {"", what};
  const auto end = what.find('\n');
  if (end == std::string::npos) return {what.substr(kSign.size()), ""};
  return {what.substr(kSign.size(), end - kSign.size()), what.substr(end + 1)};
}

}  // namespace pinproof::app
