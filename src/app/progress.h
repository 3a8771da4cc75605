// A run as it happens, on a terminal; nothing where stderr is not one.
#pragma once

#include "app/live_block.h"
#include "app/live_table.h"
#include "inspection/run.h"
#include "record/record.h"

namespace pinproof::app {

/// A listener, and a watcher where the run tells how far it is.
class Progress : public record::Listener, public inspection::Watcher {
 public:
  /// `wanted` false: a person is guided on the same terminal.
  explicit Progress(bool wanted);
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

}  // namespace pinproof::app
