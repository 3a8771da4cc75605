#include "session/keeping.h"

#include <cstdlib>
#include <filesystem>

#include "quantity/error.h"
#include "quantity/file.h"
#include "record/store.h"

namespace pinproof::session {
namespace {

std::string environment(const char* name) {
  const char* value = std::getenv(name);
  return value ? value : "";
}

}  // namespace

std::string data_folder() {
  std::string folder = environment("XDG_DATA_HOME");
  if (folder.empty()) {
    const std::string home = environment("HOME");
    if (home.empty())
      throw Error(Fault::usage,
                  "no home folder to keep records in: say --ledger FILE, or --ledger none");
    folder = home + "/.local/share";
  }
  return folder + "/pinproof";
}

std::string spool_of(const std::string& server) {
  return data_folder() + "/waiting-" + sha256_hex(server).substr(0, 12) + ".sqlite";
}

std::size_t send_all(record::Ledger& from, record::Ledger& to) {
  std::size_t sent = 0;
  const std::string destination = to.identity();
  for (const std::string& id : from.not_sent(destination)) {
    const record::Parcel parcel = from.parcel(id);
    to.receive({parcel});
    // Here it may be cut off: the next time the other side says that it has all of it.
    from.mark_sent(id, parcel.entries.size(), destination);
    ++sent;
  }
  return sent;
}

Sent send_spooled(const std::string& server) {
  Sent out;
  const std::string spool = spool_of(server);
  if (!std::filesystem::exists(spool)) return out;
  try {
    const auto from = record::Ledger::open(spool);
    const auto to = record::Ledger::open(server);
    out.records = send_all(*from, *to);
  } catch (const Error& e) {
    out.trouble = e.what();
  }
  return out;
}

Keeping::Keeping(const std::string& where) {
  if (where.empty()) return;
  if (record::is_server(where)) server_ = where;
  ledger_ = record::Ledger::open(server_.empty() ? where : spool_of(where));
}

Keeping::~Keeping() = default;

void Keeping::begin(record::Header& header, const std::string& profile_json) {
  if (ledger_) id_ = ledger_->begin(header, profile_json);
}

record::Record Keeping::resume(const std::string& id) {
  record::Record record = ledger_->resume(id);
  id_ = id;
  return record;
}

void Keeping::on_event(const record::Event& event) {
  if (!ledger_ || failed_) return;
  try {
    ledger_->append(id_, event);
  } catch (const Error& e) {
    // Once: what comes after is the way to safety. The attempt stays open, to go on with.
    failed_ = true;
    throw e.during("the reading cannot be kept");
  }
}

std::string Keeping::close(const std::string& ended, const record::Judged& judged) {
  if (!ledger_) return "";
  if (failed_) return "Not in the ledger as a whole: what was kept can be resumed.";
  ledger_->close(id_, ended, judged);
  if (server_.empty()) return "";
  const Sent sent = send_spooled(server_);
  if (sent.trouble.empty()) return "";
  return "The shared ledger does not answer; the record waits on this computer and goes there with "
         "the next one (" +
         sent.trouble + ").";
}

}  // namespace pinproof::session
