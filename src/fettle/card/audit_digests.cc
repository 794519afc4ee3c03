// Digesting files in the order they stand on the card: one thread reads, the other digests.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/digest.h"
#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"
#include "fettle/card/conveyor.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t weak_digest_most_bytes = 64u << 20;

std::string sentence_for(const Wanted& w, std::string_view algorithm, const std::string& found) {
    const std::string wanted = w.digests.at(std::string(algorithm));
    if (w.is_index)
        return fmt::format(
            "The index '{}' is not the release's own: its {} is {}, the release's is {}. Lay the card again.",
            printable(w.path), algorithm, found, wanted);
    return fmt::format("One or more bytes of {} ('{}') are wrong: its {} is {}, the index says {}. Lay the card again.",
                       w.words, printable(w.path), algorithm, found, wanted);
}

void judge(AuditState& s, Wanted& w, std::string_view algorithm, const std::string& found) {
    w.right = found == w.digests.at(std::string(algorithm));
    if (!w.right)
        s.add("file-differs", Verdict::halt, sentence_for(w, algorithm, found), w.path,
              std::string(algorithm) + " digest");
}

void unreadable(AuditState& s, const Wanted& w, const Error& e) {
    s.add("file-unreadable-on-card", Verdict::halt,
          fmt::format("{} ('{}') cannot be read from the card: {}.", w.words, printable(w.path), e.problem), w.path,
          "device");
}

// Digests other than SHA-256 need the whole file at hand.
void judge_weak(AuditState& s, Volume& volume, Wanted& w, std::vector<std::string>& only_weak) {
    if (w.digests.empty() || w.size > weak_digest_most_bytes) {
        s.add("file-not-digested", Verdict::cant_say,
              w.digests.empty()
                  ? fmt::format("The index gives no digest for {} ('{}').", w.words, printable(w.path))
                  : fmt::format("{} ('{}') is too large for the kind of digest its index gives; it was not "
                                "compared.",
                                w.words, printable(w.path)),
              w.path, "index");
        return;
    }
    const auto content = volume.read_all(*w.node, weak_digest_most_bytes);
    if (!content) return unreadable(s, w, content.error());
    s.out.bytes_read += content->size();
    std::string algorithm = w.digests.begin()->first;
    for (const char* better : {"sha512", "sha1", "md5", "crc32"})
        if (w.digests.contains(better)) {
            algorithm = better;
            break;
        }
    const auto found = digest_hex(algorithm, *content);
    if (!found)
        return s.add(
            "file-not-digested", Verdict::cant_say,
            fmt::format("The index's digest for {} is of an unknown kind, '{}'.", w.words, printable(algorithm)),
            w.path, "index");
    judge(s, w, algorithm, *found);
    if (algorithm != "sha512") only_weak.push_back(w.path);
}

}  // namespace

void audit_digests(AuditState& s, Volume& volume, std::vector<Wanted>& wanted) {
    std::vector<Wanted*> strong, weak;
    std::uint64_t total = 0, done = 0;
    for (auto& w : wanted) {
        if (w.node == nullptr || !w.node->whole || (w.size_known && w.node->size != w.size)) continue;
        if (w.is_index && w.digests.empty()) continue;  // held by its signature
        (w.digests.contains("sha256") ? strong : weak).push_back(&w);
        total += w.node->size;
    }
    const auto by_place = [](const Wanted* a, const Wanted* b) { return a->node->at < b->node->at; };
    std::sort(strong.begin(), strong.end(), by_place);

    // A block's `at` is the file's number; an empty block ends the file.
    std::vector<std::string> found(strong.size());
    std::vector<std::optional<Error>> failed(strong.size());
    {
        Sha256Stream digest;
        Conveyor digesting([&](Block& b) -> Status {
            if (b.bytes.empty())
                found[b.at] = hex(digest.finish());
            else
                digest.update(b.bytes);
            return {};
        });
        for (std::size_t i = 0; i < strong.size(); ++i) {
            const Status read = volume.read(*strong[i]->node, [&](ByteView b) -> Status {
                Block block{i, digesting.buffer(b.size())};
                append(block.bytes, b);
                done += b.size();
                if (s.request.progress) s.request.progress(done, total);
                return digesting.put(std::move(block));
            });
            if (!read) failed[i] = read.error();
            (void)digesting.put({i, {}});  // cannot fail: taking never does
        }
        (void)digesting.finish();
    }
    s.out.bytes_read += done;
    for (std::size_t i = 0; i < strong.size(); ++i) {
        if (failed[i])
            unreadable(s, *strong[i], *failed[i]);
        else
            judge(s, *strong[i], "sha256", found[i]);
    }

    std::vector<std::string> only_weak;
    for (auto* w : weak) judge_weak(s, volume, *w, only_weak);
    if (!only_weak.empty())
        s.add("weak-digest", Verdict::mind,
              fmt::format(
                  "{} could only be held against a checksum that anybody can put right: whole against accident, not "
                  "against intent.",
                  some_names(only_weak)),
              only_weak.front(), "index");
}

}  // namespace fettle::card
