#include "fettle/workshop/stand_in.h"

#include <fmt/core.h>

#include <chrono>
#include <optional>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/card/block_device.h"
#include "fettle/standin/can_server.h"
#include "fettle/standin/server.h"
#include "fettle/workshop/listen_at.h"

namespace fettle::workshop {
namespace {

using Steady = std::chrono::steady_clock;

Status check_times(const StandInRequest& r) {
    if (!(r.speed > 0 && r.speed <= 100000))
        return usage_error("bad-speed", fmt::format("{}", r.speed), "the speed is not between 0 and 100000",
                           Next{"write e.g. ", with(given("speed", "60"))});
    return check_stay(r.stay_s);
}

// "display=127.0.0.1:0"
Result<std::vector<standin::Door>> further_doors(const std::vector<std::string>& typed) {
    std::vector<standin::Door> out;
    for (const std::string& t : typed) {
        const auto equals = t.find('=');
        if (equals == std::string::npos || equals == 0)
            return usage_error("bad-address", printable(t), "it names no box",
                               Next{"write e.g. ", with(given("also", "display=127.0.0.1:0"))});
        const auto at = listen_at(t.substr(equals + 1));
        if (!at) return pass(at);
        out.push_back({t.substr(0, equals), at->host, at->port});
    }
    return out;
}

Result<standin::Manners> manners_of(const StandInRequest& r) {
    standin::Manners manners;
    if (r.announce.empty()) return manners;
    const auto to = link::parse_endpoint(r.announce);
    if (!to) return pass(to);
    manners.announce_host = to->host;
    manners.announce_port = to->port;
    return manners;
}

StandInDoors doors_of(const standin::Server& server, const std::map<std::uint16_t, link::BoxAddress>& on_can,
                      const std::vector<standin::Door>& doors) {
    StandInDoors out;
    out.listens = fmt::format("doip://{}:{}", server.host(), server.port());
    for (const auto& [number, address] : on_can) out.boxes_on_can.emplace_back(number, link::text_of(address));
    for (const standin::Door& d : doors)
        out.also.emplace_back(d.box, fmt::format("doip://{}:{}", d.host, server.port_of(d.box)));
    return out;
}

// What somebody at the bench does, typed: a control, a line to feed, or one of two words.
void do_typed(standin::VirtualSet& s, const std::string& typed) {
    if (typed.empty()) return;
    if (typed == "partners") return s.connect_partners();
    if (typed == "power") {
        s.cut_power();
        s.restore_power();
        return;
    }
    if (!s.answer(typed)) s.feed(typed);
}

// Until it stands still, and stay_s more. The virtual second at which it stood still.
double run(standin::Server& server, const StandInRequest& r) {
    auto last = Steady::now();
    std::optional<Steady::time_point> until;
    double ended_s = 0;
    while (!until || Steady::now() < *until) {
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
        const auto now = Steady::now();
        const double seconds = std::chrono::duration<double>(now - last).count() * r.speed;
        last = now;
        std::vector<standin::Event> events;
        bool stands_still = false;
        double at_s = 0;
        const std::string typed = r.typed ? r.typed() : std::string();
        server.with([&](standin::VirtualSet& s) {
            do_typed(s, typed);
            events = s.advance(seconds);
            at_s = events.empty() ? s.now_s() : events.back().at_s;
            stands_still = !s.running();
        });
        for (const auto& e : events)
            if (r.seen) r.seen(e);
        if (stands_still && !until) {
            ended_s = at_s;
            until = now + std::chrono::milliseconds(static_cast<std::int64_t>(r.stay_s * 1000));
        }
    }
    return ended_s;
}

Reason end_of(const standin::VirtualSet& s) {
    const bool complete = s.ending() == standin::Ending::complete;
    return {complete ? "stand-in-complete" : "stand-in-not-complete", complete ? Verdict::fit : Verdict::halt,
            complete ? "the virtual run came to its end"
                     : "the virtual run did not come to its end: " + printable(s.screen()),
            "", "stand-in"};
}

}  // namespace

Result<StoodIn> stand_in(const Workshop& shop, const StandInRequest& request) {
    if (auto ok = check_times(request); !ok) return pass(ok);
    const auto at = listen_at(request.listen);
    if (!at) return pass(at);
    auto device = card::open_for_reading(request.card);
    if (!device) return pass(device);
    auto practice = practice_for(shop, request);
    if (!practice) return pass(practice);
    practice->set.insert_card(**device);
    const auto doors = further_doors(request.also);
    if (!doors) return pass(doors);
    const auto manners = manners_of(request);
    if (!manners) return pass(manners);
    auto server = standin::Server::start(std::move(practice->set), at->host, at->port, *doors, *manners);
    if (!server) return pass(server);
    std::unique_ptr<standin::CanServer> bus;
    if (!practice->on_can.empty()) {
        auto started = standin::CanServer::start(**server, practice->on_can);
        if (!started) return pass(started);
        bus = std::move(*started);
    }
    if (request.opened) request.opened(doors_of(**server, practice->on_can, *doors));
    Status started;
    if (!request.rest) (*server)->with([&](standin::VirtualSet& s) { started = s.start_update(); });
    if (!started) return pass(started);
    const double ended_s = run(**server, request);
    StoodIn out{(*server)->snapshot(), ended_s, request.rest, {}};
    if (!request.rest) out.judgement.add(end_of(out.set));
    return out;
}

}  // namespace fettle::workshop
