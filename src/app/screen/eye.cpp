#include "app/screen/eye.h"

#include <cmath>
#include <utility>

#include "app/screen/console.h"
#include "screen/findings.h"

namespace pinproof::app {

ScreenEye::ScreenEye(screen::Feed& feed, screen::Answers& answers, const lever::RangeCode& code)
    : feed_(feed), answers_(answers), code_(code), seen_(code.positions.size()) {
  here_ = code.positions.size();
  feed_.set("lever_table", screen::lever_table_json(screen::rows_of(code_, seen_), ""));
}

// Recognised by the contacts: no key is wanted.
void ScreenEye::ask(const std::string& what) {
  screen::AskTold told;
  told.n = answers_.ask();
  told.kind = "do";
  told.title = what;
  feed_.set("ask", screen::ask_json(told));
}

void ScreenEye::move(const std::string& position) {
  ask("Move the lever to " + position + ", and leave it there");
}

void ScreenEye::move_freely(const Path& path) {
  ask("Start in " + path.first + ", move the lever to " + path.last + " and back, and stop for " +
      std::to_string(std::lround(path.stop_s)) + " s in each position");
}

void ScreenEye::look(const Look& look) {
  const bool stands = look.position < code_.positions.size();
  const std::string position = stands ? code_.positions[look.position] : "";
  if (here_ == look.position && last_ == look.word) return;
  here_ = look.position;
  last_ = look.word;
  std::string bits = session::bits_text(look);
  std::erase(bits, ' ');  // one character a contact
  feed_.set("lever_live",
            screen::lever_live_json({&code_, look.word, position, std::move(bits),
                                     stands ? code_.text(code_.words[look.position], false) : "",
                                     look.moving}));
  if (!stands) return;
  seen_[look.position] = look.word;
  feed_.set("lever_table", screen::lever_table_json(screen::rows_of(code_, seen_), position));
}

}  // namespace pinproof::app
