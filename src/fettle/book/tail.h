// Going on with a job's journal that is known up to an entry: for who stays with a job. Only what follows is read,
// checked and folded.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/book/job.h"
#include "fettle/book/journal.h"

namespace fettle::book {

class JournalTail {
public:
    // Errors: of Book::open.
    static Result<JournalTail> open(const std::filesystem::path& file);

    // The last entry: one small read, for asking whether anything was written.
    Result<Head> head(std::string_view job);
    // The entries that follow number `after`, and the head, both of one instant. 0: the whole journal.
    Result<Journal> after(std::string_view job, std::int64_t number);

    JournalTail(JournalTail&&) noexcept;
    JournalTail& operator=(JournalTail&&) noexcept;
    ~JournalTail();

private:
    struct State;
    explicit JournalTail(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

// As check_chain, for entries that follow `before`, up to which the chain was checked already. Pure.
std::optional<Break> check_chain_after(std::string_view job, const Head& before, const std::vector<Entry>& entries,
                                       const Head& head);

// Goes on where `job` was folded to, with the entries that follow. Not with one that corrects or takes back what is
// folded already: then it is folded from the beginning.
Result<Job> fold_on(Job job, const std::vector<Entry>& entries);
bool any_corrects(const std::vector<Entry>& entries);
bool takes_end_back(const Job& job, const std::vector<Entry>& entries);

}  // namespace fettle::book
