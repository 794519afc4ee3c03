#include "fettle/book/journal.h"

#include <fmt/core.h>

#include "fettle/base/check_character.h"
#include "fettle/base/digest.h"
#include "fettle/book/tail.h"

namespace fettle::book {
namespace {

const std::string no_digest(64, '0');

}  // namespace

// The canonical form of docs/journal.md: the data stands last and its length before it, so that no two entries share a
// text.
std::string entry_digest(std::string_view job, const Entry& e) {
    return sha256_hex(
        std::string_view(fmt::format("fettle-entry 1\njob {}\nnumber {}\nat {}\ntype {}\nprevious {}\ndata {}\n\n{}",
                                     job, e.number, iso8601(e.at), e.type, e.previous, e.data.size(), e.data)));
}

namespace {

std::optional<Break> check_from(std::string_view job, const Head& before, const std::vector<Entry>& entries,
                                const std::optional<Head>& head) {
    std::string previous = before.digest;
    std::int64_t wanted = before.number + 1;
    for (const Entry& e : entries) {
        if (e.number > wanted)
            return Break{e.number, fmt::format("entry {} should stand before it and is missing", wanted)};
        if (e.number < wanted) return Break{e.number, fmt::format("entry {} should stand here", wanted)};
        if (e.digest != entry_digest(job, e))
            return Break{e.number, "its content is not what its digest was made from: it was edited"};
        if (e.previous != previous)
            return Break{e.number, "it does not follow the entry before it: that one was edited or exchanged"};
        previous = e.digest;
        ++wanted;
    }
    if (!head) return std::nullopt;
    if (head->number >= wanted)
        return Break{wanted,
                     fmt::format("it is missing: the book notes {} entries, {} are there", head->number, wanted - 1)};
    if (head->number != wanted - 1 || head->digest != previous)
        return Break{wanted - 1, "the book notes another last entry: it was edited or put in"};
    return std::nullopt;
}

}  // namespace

std::optional<Break> check_chain(std::string_view job, const std::vector<Entry>& entries,
                                 const std::optional<Head>& head) {
    return check_from(job, {0, no_digest}, entries, head);
}

std::optional<Break> check_chain_after(std::string_view job, const Head& before, const std::vector<Entry>& entries,
                                       const Head& head) {
    return check_from(job, before, entries, head);
}

Status check_job_number(std::string_view job) {
    const std::string place = "job number " + std::string(job);
    const auto digits = job.size() < 5 ? std::nullopt : mod11_2(job.substr(0, job.size() - 1));
    const char last = job.empty() ? '\0' : job.back();
    if (!digits || !((last >= '0' && last <= '9') || last == 'X'))
        return bad_input("job-number-form", place, "is not four or more digits and a check character (0-9 or X)",
                         Next{"look it up with: ", propose(Act::list_jobs)});
    if (*digits != last)
        return bad_input("job-number-check", place,
                         fmt::format("ISO/IEC 7064 MOD 11-2 wants {} for {}, not {}: a digit was mistyped or two were "
                                     "exchanged",
                                     *digits, job.substr(0, job.size() - 1), last),
                         Next{"read the number again, or look it up with: ", propose(Act::list_jobs)});
    return {};
}

}  // namespace fettle::book
