// Serves a virtual set over DoIP on one address (UDP and TCP on the same port), or single boxes of it on addresses of
// their own, as sets have them that are wired apart; in one thread of its own. Only what the
// set answers goes out; while it is dark, starting or off, nothing does. By itself it only announces the vehicle, where
// it was told to, each time that it has come up, and asks a tester whether it is alive when another one comes with the
// same address or when all places are taken. Meant for loopback: any other address is refused.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/standin/box.h"

namespace fettle::standin {

// A further address, where one box of the set answers and no other.
struct Door {
    std::string box;  // role
    std::string host = "127.0.0.1";
    std::uint16_t port = 0;  // 0: any free one
};

// Times of ISO 13400-2, and whom it tells of itself.
struct Manners {
    std::int64_t alive_ms = 500;  // A_DoIP_Alive_check_response: a tester that does not answer in it is gone
    std::string announce_host{};  // empty: it does not announce itself; else an address of this machine
    std::uint16_t announce_port = 13400;
    std::int64_t announce_ms = 500;  // A_DoIP_Announce_Interval; three times (A_DoIP_Announce_Num)
};

class Server {
public:
    // port 0: any free one. outside "port-busy" names the port; usage "not-loopback" for an address that is not.
    static Result<std::unique_ptr<Server>> start(VirtualSet set, const std::string& host = "127.0.0.1",
                                                 std::uint16_t port = 13400, const std::vector<Door>& further = {},
                                                 const Manners& manners = {});
    ~Server();  // closes every connection and joins the thread
    Server(const Server&) = delete;
    Server& operator=(const Server&) = delete;

    std::uint16_t port() const;
    std::uint16_t port_of(std::string_view box) const;  // of its further address; 0: it has none
    std::string host() const;

    // The set, with the server held off meanwhile. Keep it short. The server never moves the set's time by itself:
    // whoever owns the run calls advance() here, at whatever speed.
    void with(const std::function<void(VirtualSet&)>& f);
    VirtualSet snapshot() const;

private:
    struct State;
    explicit Server(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::standin
