// The lever on the screen: position, lines and code as they change.
#pragma once

#include <vector>

#include "screen/answers.h"
#include "screen/feed.h"
#include "session/lever_walk.h"

namespace pinproof::app {

class ScreenEye final : public session::LeverEye {
 public:
  /// All outlive it.
  ScreenEye(screen::Feed& feed, screen::Answers& answers, const lever::RangeCode& code);

  void move(const std::string& position) override;
  void move_freely(const Path& path) override;
  void look(const Look& look) override;
  void end() override {}

 private:
  void ask(const std::string& what);

  screen::Feed& feed_;
  screen::Answers& answers_;
  const lever::RangeCode& code_;
  std::vector<lever::Word> seen_;
  lever::Word last_;
  std::size_t here_ = 0;
};

}  // namespace pinproof::app
