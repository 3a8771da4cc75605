#include "terminal/progress.h"

namespace pinproof::terminal {
namespace {

class Aside final : public bench::Console {
 public:
  Aside(Progress& progress, std::unique_ptr<bench::Console> terminal)
      : progress_(progress), terminal_(std::move(terminal)) {}
  void say(const std::string& text) override { progress_.clear(), terminal_->say(text); }
  void live(const std::string& text) override { progress_.clear(), terminal_->live(text); }
  void beep() override { terminal_->beep(); }
  void forget_keys() override { terminal_->forget_keys(); }
  std::optional<bench::KeyPress> key(Duration wait, const bench::Patience& patience) override {
    const auto out = terminal_->key(wait, patience);
    if (out) terminal_->live("");  // the progress is drawn where that line stood
    return out;
  }
  std::string ask(const std::string& question, const bench::Patience& patience) override {
    progress_.clear();
    return terminal_->ask(question, patience);
  }

 private:
  Progress& progress_;
  std::unique_ptr<bench::Console> terminal_;
};

}  // namespace

Progress::Progress() : terminal_(draws_on_terminal()) {}

void Progress::silence() { terminal_ = false; }

Progress::MakesConsole Progress::console(MakesConsole on_terminal) {
  return [this, open = std::move(on_terminal)] { return std::make_unique<Aside>(*this, open()); };
}

void Progress::on_event(const record::Event& event) {
  if (!terminal_) return;
  table_.add(event);
  draw(std::holds_alternative<record::Finished>(event));
}

void Progress::on_step(const inspection::Ahead& ahead) {
  if (!terminal_) return;
  table_.look_ahead(ahead);
  draw(false);
}

void Progress::draw(bool now) {
  if (!throttle_.due(now)) return;
  const TerminalSize size = terminal_size();
  block_.show(table_.lines(size), size);
}

void Progress::clear() { block_.clear(); }

}  // namespace pinproof::terminal
