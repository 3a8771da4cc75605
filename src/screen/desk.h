// What the page may ask for over HTTP: which of it is allowed to whom, and in which state. The
// work itself is done by who implements Works.
#pragma once

#include <condition_variable>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <thread>
#include <vector>

#include "quantity/error.h"
#include "screen/answers.h"
#include "screen/feed.h"
#include "screen/gate.h"
#include "screen/http.h"
#include "screen/messages.h"

namespace pinproof::screen {

struct BenchOffer {
  std::string name;
  bool by_hand = false, drives = false;
};
struct PackOffer {
  std::string serial, lot, says;
};
struct Offer {
  std::string version;
  bool demo = false, ledger = false;
  std::vector<std::string> profiles;
  std::vector<BenchOffer> benches;
  std::vector<PackOffer> packs;
};

/// An inspection of this serial was cut off: the page asks what to do about it.
struct CutOffStart : Error {
  using Error::Error;
};

class Works {
 public:
  virtual ~Works() = default;
  /// Everything that can be refused at once: no such profile, a cut-off inspection. Throws Error,
  /// CutOff. On a server's thread.
  virtual void check(const Wish& wish) = 0;
  /// The whole of it, on the desk's own thread; tells the feed as it goes. Throws Error.
  virtual void run(const Wish& wish, std::uint64_t number, Answers& answers,
                   const std::stop_token& stop) = 0;
  virtual std::string profile(const std::string& name) = 0;  ///< profile_json(); throws Error
  /// A page for reading: "/lots", "/report/ID"; nullopt: there is none. Throws Error.
  virtual std::optional<Reply> page(const Request& request) = 0;
};

class Desk {
 public:
  /// All outlive it.
  Desk(const Offer& offer, const GateOptions& gate, Feed& feed, Works& works);
  /// Stops what runs and waits for it.
  ~Desk();
  Desk(const Desk&) = delete;
  Desk& operator=(const Desk&) = delete;

  /// The handler and the stream listener of a Server.
  Reply answer(const Request& request);
  void on_stream(const Request& request, bool begins);

  static constexpr std::size_t kLongestText = 16 << 10;  ///< of a serial, lot, note, reason

 private:
  enum class DeskPhase { idle, busy, stopping };
  Reply get(const Request& request);
  Reply post(const Request& request);
  Reply start(const Request& request);
  Reply stop();
  Reply drive(const Request& request);
  Reply take_answer(const Request& request);
  void tell_state();
  void work();
  void run(const Wish& wish, std::uint64_t number);

  Feed& feed_;
  Works& works_;
  Gate gate_;
  Wheel wheel_;
  Answers answers_;

  std::mutex mutex_;
  std::condition_variable wake_;
  DeskPhase phase_ = DeskPhase::idle;
  bool end_ = false;
  std::optional<Wish> wish_;
  std::string working_;
  std::uint64_t runs_ = 0;
  int watchers_ = 0;
  std::stop_source stop_;
  std::thread thread_;  // last: it uses the others
};

/// The files of the page, embedded; nullopt where there is none of that name.
std::optional<Reply> page_file(const std::string& path);

}  // namespace pinproof::screen
