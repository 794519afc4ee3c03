#include "fettle/rehearse/saved.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <utility>

#include "fettle/base/files.h"
#include "fettle/base/json.h"

namespace fettle::rehearse {
namespace {

constexpr const char* kFile = "rehearsal.json";

Next begin_a_new_one() {
    return {"begin a new one: ", propose(Act::rehearse)};
}

bool truth_of(const json::object& o, std::string_view key) {
    const json::value* v = o.if_contains(key);
    return v && v->is_bool() && v->as_bool();
}

}  // namespace

Status save(const std::filesystem::path& folder, const Saved& s) {
    json::object o{{"family", s.family},       {"from", s.from},  {"to", s.to},
                   {"speed", s.speed},         {"seed", s.seed},  {"job", s.job},
                   {"own_shelf", s.own_shelf}, {"ended", s.ended}};
    if (s.cut_at) o["cut_at"] = *s.cut_at;
    return write_file_durably(folder / kFile, pretty(o));
}

Result<Saved> saved_in(const std::filesystem::path& folder) {
    const std::string file = (folder / kFile).string();
    const Result<std::string> text = read_text_file(file, 65536);
    if (!text) return pass(text);
    const Result<json::value> parsed = parse_json(*text, file);
    if (!parsed) return pass(parsed);
    const json::object empty;
    const json::object& o = parsed->is_object() ? parsed->as_object() : empty;
    Saved s{text_of(o, "family"), text_of(o, "from"), text_of(o, "to"), text_of(o, "job"), {}, {}, {}, {}, {}};
    s.speed = std::clamp(number_of(o, "speed", 300), 1e-3, 1e6);
    s.seed = static_cast<std::uint64_t>(number_of(o, "seed", 1));
    if (o.contains("cut_at")) s.cut_at = number_of(o, "cut_at");
    s.own_shelf = truth_of(o, "own_shelf");
    s.ended = truth_of(o, "ended");
    if (s.family.empty() || s.from.empty() || s.to.empty() || s.job.empty())
        return bad_input("rehearsal-not-begun", file, "does not say what was rehearsed", begin_a_new_one());
    if (s.ended)
        return bad_input(
            "rehearsal-ended", folder.string(), "this rehearsal has come to its end",
            Next{"look at it: ", propose(Act::show_job, {job(s.job), given("home", (folder / "home").string())})});
    return s;
}

// The file stays open for as long as the lock is held.
Result<Lock> Lock::take(const std::filesystem::path& folder) {
    Lock lock(::open((folder / kFile).c_str(), O_RDONLY | O_CLOEXEC));
    if (lock.fd_ < 0)
        return bad_input("rehearsal-not-begun", folder.string(), "holds no rehearsal that could be gone on with",
                         begin_a_new_one());
    if (::flock(lock.fd_, LOCK_EX | LOCK_NB) != 0)
        return bad_input("rehearsal-busy", folder.string(), "another program is going on with this rehearsal",
                         Next{"end that one first, or look on: ",
                              propose(Act::watch, {wanted("job", "J"), given("home", (folder / "home").string())})});
    return lock;
}

Lock::Lock(Lock&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}

Lock& Lock::operator=(Lock&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
}

Lock::~Lock() {
    if (fd_ >= 0) ::close(fd_);
}

}  // namespace fettle::rehearse
