// What a figure or a reason rests on. A few kinds decide something (a guess is never better than mind; a measured
// figure counts its runs); everything else is the evidence itself, in words, and is only shown.
#pragma once

#include <string>

namespace fettle {

class Basis {
public:
    enum class Kind {
        evidence,         // "check character", "typed", "read over the link"; also nothing said
        guess,            // any part of it is one: "guess", "family file; guess", "guess (odds of look-alikes)"
        common_practice,  // "common practice"
        makers_paper,     // "maker's paper"
        family_file,      // "family file"
        measured          // "measured 12": so many runs or readings
    };

    Basis() = default;
    // From the words that family files, journals and reasons spell it with.
    Basis(std::string words);         // NOLINT(google-explicit-constructor): a reason is written as {…, "family file"}
    Basis(const char* words);         // NOLINT(google-explicit-constructor)
    static Basis measured(int runs);  // runs > 0

    Kind kind() const { return kind_; }
    bool is_guess() const { return kind_ == Kind::guess; }
    int runs() const { return runs_; }  // measured: how many; else 0
    bool empty() const { return words_.empty(); }
    const std::string& words() const { return words_; }
    operator const std::string&() const { return words_; }  // NOLINT(google-explicit-constructor)

    bool operator==(const Basis& other) const { return words_ == other.words_; }

private:
    std::string words_;
    Kind kind_ = Kind::evidence;
    int runs_ = 0;
};

}  // namespace fettle
