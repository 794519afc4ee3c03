// Who is there: one UDP vehicle identification request, and the answers that come back in time.
#include <algorithm>
#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>

#include "fettle/link/client.h"
#include "fettle/link/recorder.h"
#include "fettle/link/wait.h"

namespace fettle::link {

namespace asio = boost::asio;
using asio::ip::udp;

std::optional<asio::ip::address> numeric_address(const std::string& host) {
    if (host == "localhost") return asio::ip::make_address("127.0.0.1");
    boost::system::error_code error;
    const auto address = asio::ip::make_address(host, error);
    if (error) return std::nullopt;
    return address;
}

namespace {

constexpr std::int64_t after_first_ms = 50;  // one address, one entity as a rule: a second answer would come at once
constexpr std::size_t most_answers = 256;
constexpr std::size_t most_cost = 16u << 20;  // of datagrams that are no answers, too

bool one_host(const asio::ip::address& a) {
    if (a.is_multicast()) return false;
    return a.is_v6() || (a.to_v4().to_uint() & 0xFF) != 0xFF;
}

struct Datagram {
    Endpoint from;
    ByteView bytes;  // in the caller's buffer
};

// The next one; nothing when the time is over, or when the host says that nobody listens on the port that was asked.
Result<std::optional<Datagram>> next_datagram(Loop& loop, udp::socket& socket, SteadyTime until, const Cancel& cancel,
                                              const Endpoint& at, ByteSpan buffer) {
    boost::system::error_code error;
    udp::endpoint from;
    std::size_t n = 0;
    bool done = false;
    socket.async_receive_from(asio::buffer(buffer.data(), buffer.size()), from,
                              [&](const boost::system::error_code& e, std::size_t got) {
                                  error = e;
                                  n = got;
                                  done = true;
                              });
    const Waited w = wait_for(loop, done, until, cancel, [&] { socket.cancel(); });
    if (w == Waited::cancelled) return outside_error("link-cancelled", text_of(at), "it was broken off", "ask again");
    if (w == Waited::late || error) return std::nullopt;
    return Datagram{{from.address().to_string(), from.port()}, ByteView(buffer).first(n)};
}

}  // namespace

Result<std::vector<Found>> find(const Endpoint& at, const Timing& timing, const Cancel& cancel, Recorder* record) {
    const auto address = numeric_address(at.host);
    if (!address)
        return usage_error("bad-address", at.host, "it is not a numeric address",
                           "give the address as numbers, e.g. 127.0.0.1");
    Loop loop;
    udp::socket socket(*loop.context);
    const udp::endpoint to(*address, at.port);
    const Bytes request = doip::encode(doip::IdentRequest{});
    boost::system::error_code error;
    socket.open(to.protocol(), error);
    if (!error && !one_host(*address) && address->is_v4()) socket.set_option(udp::socket::broadcast(true), error);
    if (!error) socket.send_to(asio::buffer(request), to, 0, error);
    if (error)
        return outside_error("link-not-reachable", text_of(at), "the request could not be sent: " + error.message(),
                             "check cable, address and that the network interface is up");
    const auto here = [&] {
        boost::system::error_code ignored;
        const auto e = socket.local_endpoint(ignored);
        return Endpoint{e.address().to_string(), e.port()};
    };
    if (record) record->udp(true, here(), {address->to_string(), at.port}, request);

    std::vector<Found> found;
    SteadyTime until = in_ms(timing.control_ms);
    std::array<Byte, 2048> buffer{};
    std::size_t cost = 0;
    while (found.size() < most_answers && cost < most_cost) {
        auto got = next_datagram(loop, socket, until, cancel, at, buffer);
        if (!got) return pass(got);
        if (!*got) break;
        const auto& [from, bytes] = **got;
        cost += bytes.size() + 128;  // in a recording
        if (record) record->udp(false, here(), from, bytes);
        const auto m = doip::decode(bytes);
        if (!m) continue;  // not an answer
        if (const auto* a = std::get_if<doip::Announcement>(&m->body)) {
            const bool known = std::any_of(found.begin(), found.end(), [&](const Found& f) {
                return f.says.eid == a->eid && f.says.address == a->address && f.at.host == from.host;
            });
            // It may answer from any port (ISO 13400-2); its connections it takes on the port that was asked.
            if (!known) found.push_back({*a, {from.host, at.port}});
            if (one_host(*address)) until = std::min(until, in_ms(after_first_ms));
        }
    }
    return found;
}

Result<std::vector<Found>> hear_announcements(const Endpoint& at, std::int64_t wait_ms, const Cancel& cancel,
                                              Recorder* record) {
    const auto address = numeric_address(at.host);
    if (!address)
        return usage_error("bad-address", at.host, "it is not a numeric address",
                           "give an address of this machine as numbers, e.g. 0.0.0.0");
    Loop loop;
    udp::socket socket(*loop.context);
    const udp::endpoint here(*address, at.port);
    boost::system::error_code error;
    socket.open(here.protocol(), error);
    if (!error) socket.set_option(udp::socket::reuse_address(true), error);
    if (!error) socket.bind(here, error);
    if (error)
        return outside_error("bus-not-heard", text_of(at), "it cannot be listened on: " + error.message(),
                             "give an address of this machine in numbers, e.g. 0.0.0.0:13400");
    std::vector<Found> found;
    const SteadyTime until = in_ms(wait_ms);
    std::array<Byte, 2048> buffer{};
    while (found.size() < most_answers) {
        auto got = next_datagram(loop, socket, until, cancel, at, buffer);
        if (!got) return pass(got);
        if (!*got) break;
        const auto& [there, bytes] = **got;
        if (record) record->udp(false, at, there, bytes);
        const auto m = doip::decode(bytes);
        const auto* a = m ? std::get_if<doip::Announcement>(&m->body) : nullptr;
        if (!a) continue;
        const bool known =
            std::any_of(found.begin(), found.end(), [&](const Found& f) { return f.says.eid == a->eid; });
        if (!known) found.push_back({*a, {there.host, doip::port}});
    }
    return found;
}

}  // namespace fettle::link
