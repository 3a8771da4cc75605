#include "lever/walk.h"

#include <algorithm>

namespace pinproof::lever {

Walk::Walk(const RangeCode& code, WalkOptions options) : code_(code), options_(options) {}

// A leaky count of the time spent the other way: short noise does not add up, a real change does
// though it bounces.
void Walk::follow(std::size_t column, const Word& look, double dt) {
  const Mask bit = Mask{1} << column;
  double& against = against_s_[column];
  if ((look.known & bit) == (now_.known & bit) && (look.closed & bit) == (now_.closed & bit)) {
    against = std::max(0.0, against - dt);
    return;
  }
  against += dt;
  // Where looks are far apart, two of them must agree.
  if (against < std::max(options_.debounce_s, 1.5 * dt)) return;
  against = 0;
  now_.known = (now_.known & ~bit) | (look.known & bit);
  now_.closed = (now_.closed & ~bit) | (look.closed & bit);
  changed_s_ = last_s_;
  told_ = false;
}

std::optional<LeverStop> Walk::add(double at_s, const Word& look) {
  if (!begun_) {
    begun_ = true;
    now_ = before_ = last_look_ = look;
    last_s_ = changed_s_ = at_s;
    return std::nullopt;
  }
  const double dt = at_s - last_s_;
  last_s_ = at_s;
  const Mask both = look.known & last_look_.known;
  raw_changes_ +=
      static_cast<std::size_t>(__builtin_popcount((look.closed ^ last_look_.closed) & both));
  last_look_ = look;
  for (std::size_t k = 0; k < code_.columns.size(); ++k) follow(k, look, dt);
  const bool wavering = std::any_of(against_s_.begin(), against_s_.end(),
                                    [&](double s) { return s > options_.debounce_s / 2; });
  // What is taken for a stand must also show at this very look.
  if (told_ || wavering || !agree(look, now_) || at_s - changed_s_ < options_.settle_s)
    return std::nullopt;
  told_ = true;
  const bool same = !settled_.empty() && settled_.back().word == now_;
  const auto real = static_cast<std::size_t>(__builtin_popcount(now_.closed ^ before_.closed));
  const std::size_t bounces = raw_changes_ > real ? raw_changes_ - real : 0;
  raw_changes_ = 0;
  before_ = now_;
  if (same) return std::nullopt;
  settled_.push_back({now_, code_.decode(now_), changed_s_, at_s, bounces});
  return settled_.back();
}

}  // namespace pinproof::lever
