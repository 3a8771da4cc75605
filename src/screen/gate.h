// Who may do what over HTTP: the right Host and Origin, the right to come in at all where the
// screen is not on loopback, and one browser that drives. Pure but for its own memory; thread safe.
#pragma once

#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "screen/http.h"

namespace pinproof::screen {

struct GateOptions {
  unsigned short port = 0;         ///< 0: the one of the request
  bool loopback = true;            ///< listens on loopback only: no key is wanted
  std::vector<std::string> names;  ///< host names by which this computer may be called besides
                                   ///< localhost; IP addresses are always right (no rebinding)
  std::string key;  ///< to come in where it is not loopback: once as ?key=, then as a cookie
};

class Gate {
 public:
  explicit Gate(GateOptions options) : options_(std::move(options)) {}
  /// What to answer instead; nullopt: let it through. Order: method (GET, HEAD, POST), Host,
  /// what other sites' pages may not ask for, key, then for POST: Origin (or Sec-Fetch-Site),
  /// content type application/json.
  std::optional<Reply> refuse(const Request& request) const;
  /// Headers that every answer carries (nosniff, no-store, frame and referrer policy, CSP).
  /// `page`: the live page with its own script; others get no script at all.
  static void secure(Reply& reply, bool page);

 private:
  GateOptions options_;
};

/// Which browser drives. A screen is a browser's page, by the id that it made itself; the token is
/// ours and only the driver has it.
class Wheel {
 public:
  struct Taken {
    std::string token;   ///< empty: refused
    std::string driver;  ///< screen that has it now
  };
  /// Free, its own already, or its holder has been away for `kAway_s`: granted. Otherwise only
  /// with `take_over`, and never while a run is on whose driver is there.
  /// Every watcher is told the driver's id, so only `token`, where it has one, shows a screen to be
  /// the driver.
  Taken take(const std::string& screen, bool take_over, bool busy, double now_s,
             const std::string& token = {});
  bool holds(const std::string& token) const;  ///< in constant time
  void release(const std::string& token);
  /// A stream of this screen has begun or ended.
  void seen(const std::string& screen, bool begins, double now_s);
  std::string driver() const;
  static constexpr double kAway_s = 20;

 private:
  mutable std::mutex mutex_;
  std::string token_, screen_;
  std::map<std::string, int> streams_;  // of each screen; it may watch before it drives
  double away_since_s_ = 0;
};

/// The same, in a time that depends on the lengths only.
bool same_secret(std::string_view a, std::string_view b);

/// 32 hex characters from the system's random source.
std::string random_token();

}  // namespace pinproof::screen
