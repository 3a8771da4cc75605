#include "quantity/file.h"

#include <fcntl.h>
#include <openssl/evp.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "quantity/error.h"

namespace pinproof {
namespace {

[[noreturn]] void fail(const std::string& path, const std::string& step) {
  throw Error(Fault::usage, path + ": " + step + ": " + std::strerror(errno));
}

// A descriptor that closes itself.
class FileDescriptor {
 public:
  explicit FileDescriptor(int fd) : fd_(fd) {}
  ~FileDescriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  FileDescriptor(const FileDescriptor&) = delete;
  FileDescriptor& operator=(const FileDescriptor&) = delete;
  int get() const { return fd_; }

 private:
  int fd_;
};

void write_all(int fd, std::string_view bytes, const std::string& path) {
  while (!bytes.empty()) {
    const ssize_t n = ::write(fd, bytes.data(), bytes.size());
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) fail(path, "cannot write");
    bytes.remove_prefix(static_cast<std::size_t>(n));
  }
}

}  // namespace

std::string read_file(const std::string& path, std::size_t at_most_bytes) {
  std::error_code ignored;
  if (std::filesystem::is_directory(path, ignored))
    throw Error(Fault::usage, path + ": is a folder; a file is wanted");
  std::ifstream in(path, std::ios::binary);
  if (!in) fail(path, "cannot open");
  std::string out;
  std::array<char, 65536> chunk{};
  while (in.read(chunk.data(), chunk.size()) || in.gcount() > 0) {
    out.append(chunk.data(), static_cast<std::size_t>(in.gcount()));
    if (out.size() > at_most_bytes)
      throw Error(Fault::usage, path + ": larger than the " + std::to_string(at_most_bytes) +
                                    " bytes that such a file may have");
  }
  if (in.bad()) fail(path, "cannot read");
  return out;
}

void write_file(const std::string& path, std::string_view bytes) {
  const std::string beside = path + ".part-" + std::to_string(::getpid());
  try {
    const FileDescriptor file(
        ::open(beside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644));
    if (file.get() < 0) fail(path, "cannot create");
    write_all(file.get(), bytes, path);
    if (::fsync(file.get()) != 0) fail(path, "cannot sync");
    if (::rename(beside.c_str(), path.c_str()) != 0) fail(path, "cannot rename into place");
  } catch (...) {
    ::unlink(beside.c_str());
    throw;
  }
}

std::string sha256_hex(std::string_view bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int size = 0;
  if (EVP_Digest(bytes.data(), bytes.size(), digest.data(), &size, EVP_sha256(), nullptr) != 1)
    throw Error(Fault::bench, "SHA-256: the cryptographic library refused to work");
  constexpr std::string_view kHex = "0123456789abcdef";
  std::string out;
  for (unsigned int i = 0; i < size; ++i) {
    out += kHex[digest[i] >> 4];
    out += kHex[digest[i] & 0xf];
  }
  return out;
}

}  // namespace pinproof
