#include "fettle/link/client.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <stdexcept>

#include "fettle/link/exchange.h"
#include "fettle/link/line.h"
#include "fettle/link/loop.h"
#include "fettle/link/open_line.h"

namespace fettle::link {

namespace {
SteadyTime now_is() {
    return std::chrono::steady_clock::now();
}
}  // namespace

struct Connection::State {
    std::shared_ptr<Loop> loop;  // destroyed last: lines hold sockets of it
    std::shared_ptr<Line> line;
    Options options;
    Timing timing;
    Cancel cancel;
    std::set<std::uint16_t> out_of_step{};  // boxes that still owe an answer
    ~State() {
        if (line) line->close();
    }

    // Why `message` may not or cannot go out; empty when it may.
    std::string held(std::uint16_t box, ByteView message) const {
        if (!line->closed().empty()) return line->closed();
        if (cancel.cancelled()) return "it was broken off";
        if (!line->reaches(box)) return fmt::format("box 0x{:04X} is not reached by this address", box);
        return held_back(options.phase ? options.phase() : Phase::no_run, message, line->loopback());
    }
};

std::shared_ptr<Loop> make_loop() {
    return std::make_shared<Loop>();
}

Connection::Connection(std::unique_ptr<State> state) : state_(std::move(state)) {}
Connection::Connection(Connection&&) noexcept = default;
Connection& Connection::operator=(Connection&&) noexcept = default;
Connection::~Connection() = default;

std::uint16_t Connection::entity() const {
    return state_->line->entity();
}
bool Connection::loopback() const {
    return state_->line->loopback();
}

Result<Connection> Connection::open(const Endpoint& at, const Options& options, const Timing& timing,
                                    const Cancel& cancel) {
    return open_to(BoxAddress{at, 0, std::nullopt}, options, timing, cancel);
}

Result<Connection> Connection::open_to(const BoxAddress& at, const Options& options, const Timing& timing,
                                       const Cancel& cancel) {
    auto loop = options.loop ? options.loop : make_loop();
    auto line = open_line(at, *loop, options, timing, cancel);
    if (!line) return pass(line);
    Timing t = timing;
    if (at.can) t.ack_ms = std::max(t.ack_ms, t.transfer_ms);  // ISO-TP's own timers say when a request did not get out
    return Connection(std::unique_ptr<State>(new State{std::move(loop), std::move(*line), options, t, cancel}));
}

// --- asking --------------------------------------------------------------------------------------------------------

// Drives exchanges on several connections, one open exchange on each.
struct AtOnce {
    struct One {
        Connection::State* state;
        std::uint16_t box;
        std::vector<Bytes> messages;
        std::vector<Reply> replies{};
        std::optional<Exchange> open{};
        bool whole() const { return replies.size() == messages.size(); }
    };

    // Starts what can be started, moves on what is due. True: something happened.
    static bool step(One& o, SteadyTime now) {
        Connection::State& s = *o.state;
        if (!o.open) {
            const Bytes& message = o.messages[o.replies.size()];
            if (auto why = s.held(o.box, message); !why.empty()) {
                o.replies.push_back(no_answer(std::move(why)));
                return true;
            }
            while (s.line->take()) {
            }  // nobody waits for what came in between
            o.open.emplace(o.box, message, s.timing, s.out_of_step.erase(o.box) > 0, now);
        }
        Exchange& x = *o.open;
        bool moved = false;
        if (s.cancel.cancelled()) {
            if (s.line->sends()) s.line->breaks(Heard::broken, "it was broken off");  // part of a message may be out
            x.hear({Heard::cancelled, 0, {}, {}}, now);
        }
        while (auto h = s.line->take()) {
            x.hear(std::move(*h), now);
            moved = true;
        }
        if (!x.done() && s.line->sends() && now >= x.deadline())
            s.line->breaks(Heard::broken, "the other side takes no more bytes");
        x.tick(now);
        if (const auto message = x.due(now)) {
            if (auto why = s.held(o.box, *message); !why.empty())  // the run may have begun in the meantime
                x.hear({Heard::not_delivered, o.box, {}, std::move(why)}, now);
            else
                s.line->send(o.box, *message);
            moved = true;
        }
        if (!x.done()) return moved;
        if (x.owes()) s.out_of_step.insert(o.box);
        o.replies.push_back(x.take());
        o.open.reset();
        return true;
    }

    static void run(std::vector<One>& all) {
        constexpr auto slice = std::chrono::milliseconds(50);  // how soon a cancel is noticed
        while (true) {
            bool moved = false;
            const SteadyTime now = now_is();
            SteadyTime until = now + slice;
            Loop* loop = nullptr;
            std::set<const Connection::State*> taken;  // one box after another on each connection
            for (One& o : all) {
                if (o.whole() || (all.size() > 1 && !taken.insert(o.state).second)) continue;
                loop = o.state->loop.get();
                moved |= step(o, now);
                if (o.open) until = std::min(until, o.open->deadline());
            }
            if (!loop) return;
            if (!moved) loop->turn(until);
        }
    }

    static std::vector<Reply> one(Connection& c, std::uint16_t box, std::vector<Bytes> messages) {
        std::vector<One> all;
        all.push_back({c.state_.get(), box, std::move(messages)});
        run(all);
        return std::move(all.front().replies);
    }

    static std::vector<std::vector<Reply>> many(std::span<const Reading> readings) {
        std::vector<One> all;
        for (const Reading& r : readings) {
            std::vector<Bytes> messages;
            for (const auto& q : r.requests) messages.push_back(q.bytes());
            all.push_back({r.connection->state_.get(), r.box, std::move(messages)});
            if (all.front().state->loop != all.back().state->loop)
                throw std::invalid_argument("connections asked at once share one loop");
        }
        run(all);
        std::vector<std::vector<Reply>> out;
        for (One& o : all) out.push_back(std::move(o.replies));
        return out;
    }

    // A session that tells longer times than ours gets them.
    static void take_timing(Connection& c, const Reply& r) {
        if (r.said != Said::value) return;
        const auto told = uds::session_timing(r.data);
        if (!told) return;
        constexpr std::int64_t for_the_way_ms = 1000;
        Timing& t = c.state_->timing;
        t.p2_ms = std::max<std::int64_t>(t.p2_ms, std::min<std::int64_t>(told->p2_ms, 60000) + for_the_way_ms);
        t.p2star_ms =
            std::max<std::int64_t>(t.p2star_ms, std::min<std::int64_t>(told->p2star_ms, 60000) + for_the_way_ms);
    }
};

Reply Connection::ask(std::uint16_t box, const uds::ReadRequest& request) {
    Reply r = std::move(AtOnce::one(*this, box, {request.bytes()}).front());
    if (request.service() == 0x10) AtOnce::take_timing(*this, r);
    return r;
}

Reply Connection::clear(std::uint16_t box, const uds::ClearRequest& request) {
    return std::move(AtOnce::one(*this, box, {request.bytes()}).front());
}

std::vector<std::vector<Reply>> ask_at_once(std::span<const Reading> readings) {
    return AtOnce::many(readings);
}

Reply Connection::read(std::uint16_t box, std::uint16_t did) {
    Reply r = ask(box, uds::ReadRequest::identifier(did));
    if (r.said != Said::value) return r;
    auto data = uds::identifier_data(did, r.data);
    if (!data) return nonsense(data.error().problem);
    r.data = std::move(*data);
    return r;
}

std::vector<Reply> Connection::read_each(std::uint16_t box, std::span<const std::uint16_t> dids) {
    std::vector<Reply> out;
    for (const auto did : dids) out.push_back(read(box, did));
    return out;
}

std::vector<Reply> Connection::read_together(std::uint16_t box, std::span<const uds::Wanted> wanted) {
    std::vector<std::uint16_t> dids;
    for (const auto& w : wanted) dids.push_back(w.did);
    if (wanted.size() < 2) return read_each(box, dids);
    const Reply all = ask(box, uds::ReadRequest::identifiers(dids));
    if (all.said == Said::no_answer) return std::vector<Reply>(wanted.size(), all);
    if (all.said == Said::value)
        if (auto cut = uds::identifiers_data(wanted, all.data)) {
            std::vector<Reply> out;
            for (auto& record : *cut) out.push_back({Said::value, std::move(record), 0, {}});
            return out;
        }
    return read_each(box, dids);
}

Connection::Codes Connection::read_codes(std::uint16_t box, std::uint8_t status_mask) {
    Codes out{ask(box, uds::ReadRequest::codes(status_mask)), {}};
    if (out.reply.said != Said::value) return out;
    auto list = uds::parse_codes(out.reply.data);
    if (!list) {
        out.reply = nonsense(list.error().problem);
        return out;
    }
    out.list = std::move(*list);
    return out;
}

Reply Connection::count_codes(std::uint16_t box, std::uint8_t status_mask) {
    return ask(box, uds::ReadRequest::count(status_mask));
}
Reply Connection::read_snapshot(std::uint16_t box, std::uint32_t code) {
    return ask(box, uds::ReadRequest::snapshot(code));
}
Reply Connection::read_extended(std::uint16_t box, std::uint32_t code) {
    return ask(box, uds::ReadRequest::extended_data(code));
}

}  // namespace fettle::link
