// A run as it happens, on a terminal; nothing where stderr is not one.
#pragma once

#include <functional>
#include <memory>

#include "bench/console.h"
#include "inspection/run/run.h"
#include "record/record.h"
#include "terminal/live_block.h"
#include "terminal/live_table.h"

namespace pinproof::terminal {

/// A listener, and a watcher where the run tells how far it is.
class Progress : public record::Listener, public inspection::Watcher {
 public:
  Progress();
  /// Nothing more: a person is guided on the same terminal at every step.
  void silence();
  /// Makes a console on the same terminal, for a person who is asked something now and then: the
  /// progress steps aside for it. Outlived by this.
  using MakesConsole = std::function<std::unique_ptr<bench::Console>()>;
  MakesConsole console(MakesConsole on_terminal);
  void on_event(const record::Event& event) override;
  void on_step(const inspection::Ahead& ahead) override;
  /// So that what is printed next stands alone.
  void clear();

 private:
  void draw(bool now);

  bool terminal_;
  LiveTable table_;
  Throttle throttle_{15};
  LiveBlock block_;
};

}  // namespace pinproof::terminal
