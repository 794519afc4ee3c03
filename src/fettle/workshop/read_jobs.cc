#include "fettle/workshop/read_jobs.h"

#include <fmt/core.h>

#include <filesystem>
#include <system_error>

namespace fettle::workshop {
namespace {

ListedJob listed(const std::string& number, const book::Journal& journal) {
    ListedJob out;
    out.number = number;
    out.broken = book::check_chain(number, journal.entries, journal.head);
    const auto job = book::fold(number, journal.entries);
    if (out.broken || !job) return out;
    out.readable = true;
    out.opened = job->opened;
    out.customer = job->customer;
    out.complaint = job->complaint;
    out.open_ends = job->open_ends().size();
    out.run_open = job->is_open_run();
    out.handed_over = !job->handovers.empty();
    return out;
}

Reason of_record(const JobRecord& record) {
    if (!record.broken)
        return {"chain-holds", Verdict::fit, "every entry is as it was appended, and none is missing", record.number,
                "digests of the journal"};
    return {"chain-broken", Verdict::halt, record.broken->why, fmt::format("entry {}", record.broken->number),
            "digests of the journal"};
}

void judge(Judgement& judgement, const book::Job& job) {
    if (const std::size_t open = job.open_ends().size(); open > 0)
        judgement.add({"loose-ends-open", Verdict::mind,
                       fmt::format("{} open: no handover until each is settled or signed for", open), "job",
                       "journal"});
    if (job.unknown_entries > 0)
        judgement.add({"records-unknown-entries", Verdict::mind,
                       fmt::format("{} entries are of types this version does not know", job.unknown_entries),
                       "journal", "journal"});
}

}  // namespace

Result<JobList> list_jobs(const Workshop& shop) {
    JobList out;
    std::error_code ec;
    if (!std::filesystem::exists(shop.book_file(), ec)) {
        out.no_book_in = shop.home.string();
        return out;
    }
    const auto book = existing_book(shop);
    if (!book) return pass(book);
    const auto numbers = book->jobs();
    if (!numbers) return pass(numbers);
    for (const std::string& number : *numbers) {
        const auto journal = book->journal(number);
        if (!journal) return pass(journal);
        out.jobs.push_back(listed(number, *journal));
    }
    return out;
}

Result<ShownJob> show_job(const Workshop& shop, const std::string& number) {
    auto record = read_job(shop, number);
    if (!record) return pass(record);
    auto job = book::fold(record->number, record->entries);
    if (!record->broken && !job) return pass(job);
    ShownJob out;
    out.judgement.add(of_record(*record));
    out.record = std::move(*record);
    if (!job) {
        out.why_not = job.error().message();
        return out;
    }
    judge(out.judgement, *job);
    out.job = std::move(*job);
    return out;
}

}  // namespace fettle::workshop
