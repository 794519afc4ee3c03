// For tests: a bench supply on a loopback port of its own, as well or as badly behaved as it is told to be. Plain
// sockets, no code of the room. It keeps every line that it was sent.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <atomic>
#include <functional>
#include <mutex>
#include <optional>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "fettle/link/address.h"

namespace fettle::link::testing {

// What comes back for a line: bytes as they stand; nullopt closes the connection; "" stays silent.
using Answering = std::function<std::optional<std::string>(const std::string& line)>;

// A supply as SCPI-99 wants it, set to 13.5 V and 10 A, output on, 2.3 A drawn. Long and short forms, any case.
class ScpiPeer {
public:
    explicit ScpiPeer(Answering answering, std::string greeting = "") {
        listener_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t n = sizeof a;
        if (::bind(listener_, reinterpret_cast<sockaddr*>(&a), n) != 0 || ::listen(listener_, 8) != 0 ||
            ::getsockname(listener_, reinterpret_cast<sockaddr*>(&a), &n) != 0)
            throw std::runtime_error("no loopback socket");
        port_ = ntohs(a.sin_port);
        thread_ = std::jthread([this, answering = std::move(answering), greeting](std::stop_token stop) {
            while (!stop.stop_requested()) {
                pollfd p{listener_, POLLIN, 0};
                if (::poll(&p, 1, 20) <= 0) continue;
                const int fd = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
                ++connections;
                if (!greeting.empty()) put(fd, greeting);
                serve(fd, answering, stop);
                ::close(fd);
            }
        });
    }
    ~ScpiPeer() {
        thread_.request_stop();
        thread_.join();
        ::close(listener_);
    }
    ScpiPeer(const ScpiPeer&) = delete;
    ScpiPeer& operator=(const ScpiPeer&) = delete;

    Endpoint at() const { return {"127.0.0.1", port_}; }
    std::vector<std::string> heard() const {
        const std::lock_guard lock(mutex_);
        return heard_;
    }
    std::atomic<int> connections = 0;

private:
    static void put(int fd, const std::string& bytes) {
        [[maybe_unused]] const auto n = ::send(fd, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    }
    void serve(int fd, const Answering& answering, const std::stop_token& stop) {
        std::string in;
        while (!stop.stop_requested()) {
            pollfd p{fd, POLLIN, 0};
            if (::poll(&p, 1, 20) <= 0) continue;
            char buffer[256];
            const auto n = ::recv(fd, buffer, sizeof buffer, 0);
            if (n <= 0) return;
            in.append(buffer, static_cast<std::size_t>(n));
            for (auto end = in.find('\n'); end != std::string::npos; end = in.find('\n')) {
                const std::string line = in.substr(0, end);
                in.erase(0, end + 1);
                {
                    const std::lock_guard lock(mutex_);
                    heard_.push_back(line);
                }
                const auto out = answering(line);
                if (!out) return;
                if (!out->empty()) put(fd, *out);
            }
        }
    }

    int listener_ = -1;
    std::uint16_t port_ = 0;
    mutable std::mutex mutex_;
    std::vector<std::string> heard_;
    std::jthread thread_;
};

// SCPI-99's rule for a word of a header: short form is its first four letters, or three if the fourth is a vowel and
// the word is longer; either form in any case, nothing between. Written in the manner of the standard's tables
// ("MEASure").
inline bool is_word(const std::string& said, const std::string& table) {
    std::string upper, all;
    for (const char c : table) {
        all += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
        if (std::isupper(static_cast<unsigned char>(c))) upper += c;
    }
    std::string s;
    for (const char c : said) s += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
    return s == upper || s == all;
}
inline bool is_header(std::string said, const std::vector<std::string>& words) {
    if (said.empty() || said.back() != '?') return false;
    said.pop_back();
    for (std::size_t i = 0; i < words.size(); ++i) {
        const auto colon = said.find(':');
        if ((colon == std::string::npos) != (i + 1 == words.size())) return false;
        if (!is_word(said.substr(0, colon), words[i])) return false;
        said.erase(0, colon == std::string::npos ? said.size() : colon + 1);
    }
    return said.empty();
}

struct Figures {
    std::string volts = "13.480", amps = "+2.300000E+00", set = "13.500", limit = "1.0E+01", output = "1";
    std::vector<std::string> errors;  // oldest first
};
inline std::string well_behaved(Figures& f, const std::string& line) {
    if (line == "*IDN?") return "Saltmarsh Bench,Feeder 30,0,1.4\n";
    if (is_header(line, {"MEASure", "VOLTage"})) return f.volts + "\r\n";
    if (is_header(line, {"MEASure", "CURRent"})) return f.amps + "\n";
    if (is_header(line, {"VOLTage"})) return f.set + "\n";
    if (is_header(line, {"CURRent"})) return f.limit + "\n";
    if (is_header(line, {"OUTPut"})) return f.output + "\n";
    if (is_header(line, {"SYSTem", "ERRor"})) {
        if (f.errors.empty()) return "0,\"No error\"\n";
        const std::string e = f.errors.front();
        f.errors.erase(f.errors.begin());
        return e + "\n";
    }
    f.errors.push_back("-113,\"Undefined header\"");
    return "";
}

}  // namespace fettle::link::testing
