#include "fettle/workshop/live_job.h"

#include <sys/stat.h>

#include "fettle/workshop/store.h"

namespace fettle::workshop {

LiveJob::LiveJob(const Workshop& shop, book::Job job) : shop_(shop), job_(std::move(job)) {}

Status LiveJob::book_at_hand() {
    struct stat now{};
    const bool there = ::stat(shop_.book_file().c_str(), &now) == 0;
    if (book_ && there && now.st_dev == device_ && now.st_ino == file_) return {};
    book_.reset();
    head_.reset();
    if (auto opened = existing_book(shop_); !opened) return pass(opened);
    auto tail = book::JournalTail::open(shop_.book_file());
    if (!tail) return pass(tail);
    book_.emplace(std::move(*tail));
    device_ = now.st_dev;
    file_ = now.st_ino;
    return {};
}

Result<bool> LiveJob::whole() {
    auto journal = book_->after(job_.number, 0);
    if (!journal) return pass(journal);
    JobRecord record{job_.number, std::move(journal->entries), {}};
    record.broken = book::check_chain(record.number, record.entries, journal->head);
    auto job = job_of(record);
    if (!job) return pass(job);
    job_ = std::move(*job);
    head_ = std::move(journal->head);
    return true;
}

Result<bool> LiveJob::look() {
    if (auto ok = book_at_hand(); !ok) return pass(ok);
    if (!head_) return whole();
    const auto head = book_->head(job_.number);
    if (!head) return pass(head);
    if (head->number == head_->number && head->digest == head_->digest) return false;
    auto more = book_->after(job_.number, head_->number);
    if (!more) return pass(more);
    const bool follows = !book::check_chain_after(job_.number, *head_, more->entries, more->head);
    if (!follows || book::any_corrects(more->entries) || book::takes_end_back(job_, more->entries)) return whole();
    auto job = book::fold_on(job_, more->entries);
    if (!job) return pass(job);
    job_ = std::move(*job);
    head_ = std::move(more->head);
    return true;
}

}  // namespace fettle::workshop
