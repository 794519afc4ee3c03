// The connection is a plain socket with poll(2): one question, one line back, each within its time.
//
// Why so wary: the watch of a run stands on this. A supply may stop answering, answer with text, send half a line or
// one that never ends, or hang up. Each is one sentence to say, none may hold up the watch or end it. An answer that
// comes too late would be read as the answer to the next question, an old figure shown as new: so after any trouble the
// connection is closed, and bytes that came unasked are thrown away before each question.
#include "fettle/link/scpi_supply.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>

#include "fettle/base/text.h"

namespace fettle::link {
namespace {

using Steady = std::chrono::steady_clock;

// Milliseconds left, at least 0.
int left_ms(Steady::time_point until) {
    const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(until - Steady::now()).count();
    return static_cast<int>(std::clamp<std::int64_t>(left, 0, 60'000));
}

bool ready_for(int fd, short what, Steady::time_point until) {
    while (true) {
        pollfd p{fd, what, 0};
        const int n = ::poll(&p, 1, left_ms(until));
        if (n > 0) return true;
        if (n == 0 || errno != EINTR) return false;
    }
}

struct Addresses {
    addrinfo* list = nullptr;
    ~Addresses() {
        if (list) ::freeaddrinfo(list);
    }
};

}  // namespace

ScpiSupply::ScpiSupply(scpi::Address address, const Clock& clock, int answer_ms)
    : address_(std::move(address)), clock_(clock), answer_(answer_ms), try_again_(Steady::now()) {}

ScpiSupply::~ScpiSupply() {
    hang_up();
}

void ScpiSupply::hang_up() {
    if (fd_ >= 0) ::close(fd_);
    fd_ = -1;
}

tl::unexpected<Error> ScpiSupply::trouble(const Trouble& t) {
    hang_up();
    last_ = t;
    ++failures_;
    try_again_ = Steady::now() + std::chrono::milliseconds(failures_ <= 2 ? 0 : failures_ <= 10 ? 1000 : 10'000);
    return outside_error(t.code, text_of(address_.at), t.problem,
                         "look at the supply and its cable; what it does is not known until it answers again");
}

Status ScpiSupply::connect() {
    if (fd_ >= 0) return {};
    if (Steady::now() < try_again_) {
        return outside_error(last_.code, text_of(address_.at), last_.problem,
                             "it is asked again shortly; look at the supply and its cable meanwhile");
    }
    addrinfo hints{};
    hints.ai_family = AF_UNSPEC;
    hints.ai_socktype = SOCK_STREAM;
    hints.ai_flags = AI_NUMERICHOST | AI_NUMERICSERV;  // a look-up by name would take a time that nobody can bound
    Addresses found;
    const std::string host = address_.at.host == "localhost" ? "127.0.0.1" : address_.at.host;
    if (::getaddrinfo(host.c_str(), std::to_string(address_.at.port).c_str(), &hints, &found.list) != 0)
        return trouble({"supply-not-reachable", "the host is no address in numbers"});
    fd_ = ::socket(found.list->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (fd_ < 0) return trouble({"supply-not-reachable", "no socket can be had on this machine"});
    const int one = 1;
    ::setsockopt(fd_, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    if (::connect(fd_, found.list->ai_addr, found.list->ai_addrlen) != 0) {
        if (errno != EINPROGRESS)
            return trouble({"supply-not-reachable", std::string("no connection: ") + std::strerror(errno)});
        if (!ready_for(fd_, POLLOUT, Steady::now() + answer_))
            return trouble({"supply-not-reachable", "nobody takes the connection"});
        int error = 0;
        socklen_t n = sizeof error;
        ::getsockopt(fd_, SOL_SOCKET, SO_ERROR, &error, &n);
        if (error != 0) return trouble({"supply-not-reachable", std::string("no connection: ") + std::strerror(error)});
    }
    return {};
}

ScpiSupply::Line ScpiSupply::ask(const std::string& question) {
    const auto until = Steady::now() + answer_;
    std::array<char, 512> buffer;
    // Whatever lies there was not asked for: an old answer, never this one's. A flood is not read to its end.
    for (std::size_t old = 0; old < 8 * scpi::longest_line;) {
        const auto n = ::recv(fd_, buffer.data(), buffer.size(), 0);
        if (n == 0) return tl::unexpected(Trouble{"supply-silent", "it closed the connection"});
        if (n < 0) break;
        old += static_cast<std::size_t>(n);
    }
    const std::string line = question + "\n";
    if (::send(fd_, line.data(), line.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(line.size()))
        return tl::unexpected(Trouble{"supply-silent", "it does not take the question " + question});
    std::string answer;
    while (ready_for(fd_, POLLIN, until)) {
        const auto n = ::recv(fd_, buffer.data(), buffer.size(), 0);
        if (n < 0 && (errno == EAGAIN || errno == EINTR)) continue;
        if (n <= 0)
            return tl::unexpected(
                Trouble{"supply-silent", answer.empty() ? "it closed the connection"
                                                        : "it closed the connection in the middle of an answer"});
        answer.append(buffer.data(), static_cast<std::size_t>(n));
        const auto end = answer.find('\n');
        if (end != std::string::npos) {
            answer.resize(end);
            return std::string(trim(answer));
        }
        if (answer.size() > scpi::longest_line)
            return tl::unexpected(Trouble{"supply-nonsense", "its answer to " + question + " does not end"});
        if (Steady::now() >= until) break;  // drop by drop for ever is silence, too
    }
    return tl::unexpected(
        Trouble{"supply-silent", fmt::format("{} to {} within {} ms", answer.empty() ? "no answer" : "half an answer",
                                             question, answer_.count())});
}

Result<std::vector<SupplySample>> ScpiSupply::take() {
    if (auto there = connect(); !there) return pass(there);
    SupplySample s;
    const auto one = [&](const std::string& question, double most, double& into) -> std::optional<Trouble> {
        const Line line = ask(question);
        if (!line) return line.error();
        const auto v = scpi::number(*line);
        if (v && std::abs(*v) <= most) {
            into = *v < 0 && *v > -0.1 ? 0 : *v;  // a supply at rest reads a little below nothing
            return std::nullopt;
        }
        const bool says_none = !line->empty() && line->find_first_not_of("+-.0123456789eE") == std::string::npos;
        const std::string word = upper(*line);
        if ((says_none && !v) || word == "NAN" || word == "INF" || word == "INFINITY") return std::nullopt;
        return Trouble{"supply-nonsense", fmt::format("\"{}\" in answer to {}, expected a number",
                                                      printable(line->substr(0, 40)), question)};
    };
    if (const auto t = one(address_.volts, scpi::most_V, s.volts)) return trouble(*t);
    if (const auto t = one(address_.amps, scpi::most_A, s.amps)) return trouble(*t);
    failures_ = 0;
    s.t = clock_.now();
    if (!s.has_volts() && !s.has_amps())
        return outside_error("supply-no-reading", text_of(address_.at), "it says itself that it has no reading",
                             "look at the supply: is its output on, is a range exceeded?");
    return std::vector<SupplySample>{s};
}

Result<SupplyState> ScpiSupply::read() {
    if (auto there = connect(); !there) return pass(there);
    SupplyState out;
    out.maker_and_model = "not said";
    std::optional<Trouble> first;
    int answered = 0, silent = 0;
    // A question that a supply does not know gets no answer and an entry in its error queue; after silence the
    // connection is made again, so that the next question has a clean line. Three silences are enough.
    const auto put = [&](const std::string& question) -> std::optional<std::string> {
        if (silent >= 3 || (fd_ < 0 && !connect())) return std::nullopt;
        Line line = ask(question);
        if (line) {
            ++answered;
            return std::move(*line);
        }
        ++silent;
        if (!first) first = line.error();
        hang_up();
        return std::nullopt;
    };
    const auto figure = [&](const std::string& question, double most) -> std::optional<double> {
        const auto line = put(question);
        if (!line) return std::nullopt;
        const auto v = scpi::number(*line);
        if (v && std::abs(*v) <= most) return v;
        out.not_understood.push_back(fmt::format("{}: \"{}\"", question, printable(line->substr(0, 40))));
        return std::nullopt;
    };
    out.measured_V = figure(address_.volts, scpi::most_V);
    out.measured_A = figure(address_.amps, scpi::most_A);
    if (answered == 0) return trouble(first.value_or(Trouble{"supply-silent", "no answer"}));
    if (address_.own_words) return out;
    out.set_V = figure("VOLT?", scpi::most_V);
    out.limit_A = figure("CURR?", scpi::most_A);
    if (const auto line = put("OUTP?")) {
        out.output_on = scpi::on_or_off(*line);
        if (!out.output_on) out.not_understood.push_back(fmt::format("OUTP?: \"{}\"", printable(line->substr(0, 40))));
    }
    if (const auto line = put("*IDN?")) {
        const auto fields = split(*line, ',');
        if (fields.size() >= 2)
            out.maker_and_model =
                printable(std::string(trim(fields[0])) + " " + std::string(trim(fields[1]))).substr(0, 72);
    }
    for (int i = 0; i < scpi::longest_error_queue; ++i) {
        const auto line = put("SYST:ERR?");
        const auto e = line ? scpi::queued_error(*line) : std::nullopt;
        if (!e || e->code == 0) break;
        out.errors.push_back(printable(fmt::format("{} {}", e->code, e->text)).substr(0, 120));
    }
    failures_ = 0;
    return out;
}

}  // namespace fettle::link
