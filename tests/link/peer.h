// A peer on a real loopback socket that answers what the test tells it to.
#pragma once

#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <atomic>
#include <functional>
#include <stdexcept>
#include <string>
#include <thread>

namespace pinproof::tests {

class Peer {
 public:
  /// What to send for a line; called once a line, on the peer's thread. An
  /// empty reply sends nothing. `kHangUp` closes the connection.
  using Answer = std::function<std::string(const std::string& line)>;
  static constexpr const char* kHangUp = "\x01hang-up";

  explicit Peer(Answer answer)
      : answer_(std::move(answer)), listener_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in at{};
    at.sin_family = AF_INET;
    at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof at;
    if (::bind(listener_, reinterpret_cast<sockaddr*>(&at), size) != 0 ||
        ::listen(listener_, 8) != 0)
      throw std::runtime_error("peer: cannot listen");
    ::getsockname(listener_, reinterpret_cast<sockaddr*>(&at), &size);
    port_ = ntohs(at.sin_port);
    thread_ = std::thread([this] { serve(); });
  }
  ~Peer() {
    over_ = true;
    thread_.join();
    ::close(listener_);
  }
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;

  std::string address() const { return "tcp://127.0.0.1:" + std::to_string(port_); }
  int connections() const { return connections_; }

 private:
  bool wait(int fd) const {
    while (!over_) {
      pollfd p{fd, POLLIN, 0};
      if (::poll(&p, 1, 20) > 0) return true;
    }
    return false;
  }
  void serve() {
    while (wait(listener_)) {
      const int client = ::accept(listener_, nullptr, nullptr);
      if (client < 0) continue;
      ++connections_;
      talk(client);
      ::close(client);
    }
  }
  void talk(int client) {
    std::string inbox;
    char chunk[4096];
    while (wait(client)) {
      const ssize_t got = ::recv(client, chunk, sizeof chunk, 0);
      if (got <= 0) return;
      inbox.append(chunk, static_cast<std::size_t>(got));
      for (auto end = inbox.find('\n'); end != std::string::npos; end = inbox.find('\n')) {
        const std::string line = inbox.substr(0, end);
        inbox.erase(0, end + 1);
        std::string reply = answer_(line);
        const auto hang_up = reply.find(kHangUp);
        if (hang_up != std::string::npos) reply.resize(hang_up);
        if (!reply.empty()) ::send(client, reply.data(), reply.size(), MSG_NOSIGNAL);
        if (hang_up != std::string::npos) return;
      }
    }
  }

  Answer answer_;
  int listener_;
  int port_ = 0;
  std::atomic<bool> over_{false};
  std::atomic<int> connections_{0};
  std::thread thread_;
};

}  // namespace pinproof::tests
