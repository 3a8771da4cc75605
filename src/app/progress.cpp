#include "app/progress.h"

namespace pinproof::app {

Progress::Progress(bool wanted) : terminal_(wanted && draws_on_terminal()) {}

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

}  // namespace pinproof::app
