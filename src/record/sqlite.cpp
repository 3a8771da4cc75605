#include <SQLiteCpp/Backup.h>
#include <SQLiteCpp/SQLiteCpp.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <unordered_map>
#include <utility>

#include "quantity/error.h"
#include "record/store.h"

namespace pinproof::record {
namespace {

constexpr int kPatience_ms = 15000;  // that another program may hold the file

// The statement's own columns, without SQLiteCpp's shared pointer a value: a lot has millions.
class SqliteRow final : public Row {
 public:
  explicit SqliteRow(sqlite3_stmt* statement) : statement_(statement) {}
  bool empty(int column) const override {
    return sqlite3_column_type(statement_, column) == SQLITE_NULL;
  }
  std::int64_t whole(int column) const override { return sqlite3_column_int64(statement_, column); }
  double number(int column) const override { return sqlite3_column_double(statement_, column); }
  std::string_view text(int column) const override {
    const void* bytes = sqlite3_column_text(statement_, column);
    const auto size = static_cast<std::size_t>(sqlite3_column_bytes(statement_, column));
    return bytes ? std::string_view(static_cast<const char*>(bytes), size) : std::string_view();
  }

 private:
  sqlite3_stmt* statement_;
};

class Sqlite final : public Store {
 public:
  Sqlite(const std::string& path, Access access)
      : path_(path),
        // One thread only: no lock around every column of a lot.
        database_(path,
                  SQLite::OPEN_READWRITE | SQLite::OPEN_NOMUTEX |
                      (access == Access::write ? SQLite::OPEN_CREATE : 0),
                  kPatience_ms) {
    // A commit is on the disk when it returns; readers and a writer do not wait for each other.
    database_.exec("PRAGMA journal_mode=WAL");
    database_.exec("PRAGMA synchronous=FULL");
    database_.exec("PRAGMA foreign_keys=ON");
    database_.exec("PRAGMA cell_size_check=ON");
    file_ = file_now();
  }

  const std::string& name() const override { return path_; }

  std::size_t run(const std::string& sql, const std::vector<Value>& values) override {
    return attempt("write", [&] {
      SQLite::Statement& statement = prepared(sql);
      bind(statement, values);
      const int changed = statement.exec();
      statement.reset();
      return static_cast<std::size_t>(changed);
    });
  }

  void each(const std::string& sql, const std::vector<Value>& values,
            const OnRow& on_row) override {
    // A statement of its own: on_row may ask for the same again.
    sqlite3_stmt* raw = nullptr;
    check(sqlite3_prepare_v2(database_.getHandle(), sql.c_str(), static_cast<int>(sql.size()), &raw,
                             nullptr));
    const std::unique_ptr<sqlite3_stmt, int (*)(sqlite3_stmt*)> held(raw, sqlite3_finalize);
    for (std::size_t k = 0; k < values.size(); ++k) bind(raw, static_cast<int>(k + 1), values[k]);
    const SqliteRow row(raw);
    for (;;) {
      const int step = sqlite3_step(raw);
      if (step == SQLITE_DONE) return;
      if (step != SQLITE_ROW) check(step);
      on_row(row);
    }
  }

  void begin() override {
    refuse_taken_away();
    attempt("begin", [&] { return database_.exec("BEGIN IMMEDIATE"); });
  }
  void begin_reading() override {
    attempt("begin", [&] { return database_.exec("BEGIN"); });
  }
  void commit() override {
    try {
      attempt("commit", [&] { return database_.exec("COMMIT"); });
      refuse_taken_away();
    } catch (const Error&) {
      rollback();
      throw;
    }
  }
  void rollback() noexcept override {
    sqlite3_exec(database_.getHandle(), "ROLLBACK", nullptr, nullptr, nullptr);
  }

  std::string own_types(std::string sql) const override {
    for (const auto& [word, type] : {std::pair{"$whole", "INTEGER"},
                                     {"$real", "REAL"},
                                     {"$serial", "INTEGER"},
                                     {"$strict", "STRICT"}})
      for (std::size_t at = 0; (at = sql.find(word)) != std::string::npos;)
        sql.replace(at, std::string_view(word).size(), type);
    return sql;
  }

  bool back_up(const std::string& path) override {
    const std::string fresh = path + ".part";
    std::filesystem::remove(fresh);
    attempt("back up", [&] {
      SQLite::Database copy(fresh, SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
      SQLite::Backup backup(copy, database_);
      return backup.executeStep(-1);
    });
    std::filesystem::rename(fresh, path);
    return true;
  }

 private:
  using File = std::pair<dev_t, ino_t>;
  File file_now() const {
    struct stat now {};
    return ::stat(path_.c_str(), &now) == 0 ? File{now.st_dev, now.st_ino} : File{};
  }
  // SQLite goes on writing into a file that has no name any more: nobody would find it.
  void refuse_taken_away() const {
    if (file_now() != file_)
      throw Error(Fault::bench, path_ + ": the ledger's file was moved or deleted");
  }

  template <class F>
  auto attempt(const char* what, F&& f) -> decltype(f()) {
    try {
      return f();
    } catch (const SQLite::Exception& e) {
      throw Error(Fault::bench, path_ + ": cannot " + what + ": " + e.what());
    }
  }

  void check(int code) const {
    if (code != SQLITE_OK)
      throw Error(Fault::bench, path_ + ": " + sqlite3_errmsg(database_.getHandle()));
  }

  SQLite::Statement& prepared(const std::string& sql) {
    const auto found = statements_.find(sql);
    if (found != statements_.end()) {
      found->second->tryReset();
      found->second->clearBindings();
      return *found->second;
    }
    return *statements_.emplace(sql, std::make_unique<SQLite::Statement>(database_, sql))
                .first->second;
  }

  static void bind(SQLite::Statement& statement, const std::vector<Value>& values) {
    for (std::size_t k = 0; k < values.size(); ++k) {
      const int at = static_cast<int>(k + 1);
      if (const auto* whole = std::get_if<std::int64_t>(&values[k]))
        statement.bind(at, *whole);
      else if (const auto* number = std::get_if<double>(&values[k]))
        statement.bind(at, *number);
      else if (const auto* text = std::get_if<std::string>(&values[k]))
        statement.bind(at, *text);
    }
  }

  void bind(sqlite3_stmt* statement, int at, const Value& value) const {
    if (const auto* whole = std::get_if<std::int64_t>(&value))
      check(sqlite3_bind_int64(statement, at, *whole));
    else if (const auto* number = std::get_if<double>(&value))
      check(sqlite3_bind_double(statement, at, *number));
    else if (const auto* text = std::get_if<std::string>(&value))
      check(sqlite3_bind_text(statement, at, text->data(), static_cast<int>(text->size()),
                              SQLITE_TRANSIENT));
  }

  std::string path_;
  SQLite::Database database_;
  File file_;
  std::unordered_map<std::string, std::unique_ptr<SQLite::Statement>> statements_;
};

}  // namespace

std::unique_ptr<Store> open_sqlite(const std::string& where, Access access) {
  namespace fs = std::filesystem;
  const fs::path path(where);
  std::error_code failed;
  if (access == Access::read && !fs::exists(path, failed))
    throw Error(Fault::usage, where + ": there is no ledger here yet");
  if (access == Access::write && path.has_parent_path())
    fs::create_directories(path.parent_path(), failed);
  if (fs::is_directory(path, failed)) throw Error(Fault::usage, where + ": a folder, not a ledger");
  try {
    return std::make_unique<Sqlite>(where, access);
  } catch (const SQLite::Exception& e) {
    const bool ours = e.getErrorCode() == SQLITE_FULL || e.getErrorCode() == SQLITE_BUSY;
    throw Error(ours ? Fault::bench : Fault::usage,
                where + ": cannot open the ledger: " + e.what());
  }
}

}  // namespace pinproof::record
