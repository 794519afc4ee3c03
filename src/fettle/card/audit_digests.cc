// Digesting files in the order they stand on the card: one thread reads, others digest.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"
#include "fettle/card/digest_lanes.h"
#include "fettle/card/medium_watch.h"

namespace fettle::card {
namespace {

constexpr unsigned lanes_at_once = 2;  // two cores are normal

std::string sentence_for(const Wanted& w) {
    if (w.is_index)
        return fmt::format("The index '{}' is not the release's own. Lay the card again.", printable(w.path));
    return fmt::format("One or more bytes of {} ('{}') are wrong. Lay the card again.", w.words, printable(w.path));
}

bool wrong_size(const Wanted& w) {
    return w.size_known && w.node->size != w.size;
}

// Whether another release that is known has a file of this size: only then can it be told whose this one is.
bool may_be_anothers(const AuditState& s, const Wanted& w) {
    if (!w.digests.contains("sha256")) return false;
    for (const auto* other : s.request.others)
        for (const auto& p : other->pieces)
            for (const auto& f : p.files)
                if (f.sized && f.size == w.node->size && f.digests.contains("sha256")) return true;
    return false;
}

void judge(AuditState& s, Wanted& w, std::string_view algorithm, const std::string& found) {
    w.right = found == w.digests.at(std::string(algorithm));
    if (w.right) return;
    s.out.differing.push_back({w.path, std::string(algorithm), found, w.digests.at(std::string(algorithm))});
    s.add("file-differs", Verdict::halt, sentence_for(w), w.path, std::string(algorithm) + " digest");
}

void unreadable(AuditState& s, const Wanted& w, const Error& e) {
    s.add(
        "file-unreadable-on-card", Verdict::halt,
        fmt::format(
            "{} ('{}') cannot be read from the card: {}. Clean the contacts and try once more; then take another card.",
            w.words, printable(w.path), e.problem),
        w.path, "device");
}

// The strongest that the index gives; empty when it gives none.
std::string best_of(const std::map<std::string, std::string>& digests) {
    for (const char* better : {"sha256", "sha512", "sha1", "md5", "crc32"})
        if (digests.contains(better)) return better;
    return digests.empty() ? std::string() : digests.begin()->first;
}

}  // namespace

void audit_digests(AuditState& s, Volume& volume, std::vector<Wanted>& wanted) {
    std::vector<Wanted*> to_read;
    std::uint64_t total = 0, done = 0;
    for (auto& w : wanted) {
        if (w.node == nullptr || !w.node->whole) continue;
        if (wrong_size(w) && !may_be_anothers(s, w)) continue;  // wrong already: nothing is read to say so
        if (w.is_index && w.digests.empty()) continue;          // held by its signature
        to_read.push_back(&w);
        total += w.node->size;
    }
    // In the order they stand on the card: one pass over the medium.
    std::sort(to_read.begin(), to_read.end(),
              [](const Wanted* a, const Wanted* b) { return a->node->at < b->node->at; });

    struct Read {
        Wanted* wanted;
        std::string algorithm;
        std::optional<Error> failed;
        MediumSeen seen;
    };
    MediumWatch watch(s.device);
    std::vector<Read> read;
    std::vector<std::string> found;
    {
        DigestLanes lanes(lanes_at_once);
        for (Wanted* w : to_read) {
            const std::string algorithm = best_of(w->digests);
            if (algorithm.empty() || !lanes.begin(algorithm)) {
                s.add(
                    "file-not-digested", Verdict::cant_say,
                    algorithm.empty()
                        ? fmt::format("The index gives no digest for {} ('{}'). Ask the release's source for digests.",
                                      w->words, printable(w->path))
                        : fmt::format("The index's digest for {} ('{}') is of an unknown kind, '{}'. Ask the release's "
                                      "source for SHA-256.",
                                      w->words, printable(w->path), printable(algorithm)),
                    w->path, "index");
                continue;
            }
            watch.begin();
            const Status status = volume.read_into(
                *w->node, [&] { return lanes.buffer(); },
                [&](Bytes b) {
                    done += b.size();
                    watch.take(b);
                    if (s.request.progress) s.request.progress(done, total);
                    return lanes.add(std::move(b));
                });
            lanes.end();
            read.push_back({w, algorithm, status ? std::nullopt : std::optional<Error>(status.error()), watch.seen()});
        }
        found = lanes.finish();
    }
    s.out.bytes_read += done;
    std::vector<std::string> only_weak;
    for (std::size_t i = 0; i < read.size(); ++i) {
        if (read[i].failed) {
            unreadable(s, *read[i].wanted, *read[i].failed);
            continue;
        }
        if (read[i].algorithm == "sha256") read[i].wanted->found_sha256 = found[i];
        if (wrong_size(*read[i].wanted)) continue;
        judge(s, *read[i].wanted, read[i].algorithm, found[i]);
        if (read[i].algorithm != "sha256" && read[i].algorithm != "sha512") only_weak.push_back(read[i].wanted->path);
    }
    std::vector<ReadOfMedium> medium;
    for (const Read& r : read)
        if (!r.failed) medium.push_back({r.wanted, r.seen});
    judge_medium(s, medium);
    if (!only_weak.empty()) s.list("weak-digest", only_weak);
    if (!only_weak.empty())
        s.add("weak-digest", Verdict::mind,
              fmt::format(
                  "{} could only be held against a checksum that anybody can put right: whole against accident, not "
                  "against intent. Know where the release is from.",
                  some_names(only_weak)),
              only_weak.front(), "index");
}

}  // namespace fettle::card
