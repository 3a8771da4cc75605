// One line of progress on a terminal; nothing where stderr is not one.
#pragma once

#include "record/record.h"

namespace pinproof::app {

class Progress : public record::Listener {
 public:
  /// `wanted` false: a person is guided on the same terminal.
  explicit Progress(bool wanted);
  void on_event(const record::Event& event) override;
  void clear();

 private:
  bool terminal_;
  int count_ = 0;
};

}  // namespace pinproof::app
