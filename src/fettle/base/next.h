// What can be done next, as data: words for a person, and in them the acts of a job with their arguments. A terminal
// shows an act as a command to type, another face may make it a button; nothing below the faces knows how either looks.
#pragma once
#include <functional>
#include <initializer_list>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace fettle {

// Every act that an answer or an error may propose, or that a rehearsal shows. Its name for programs: name_of().
enum class Act {
    open_job,
    list_jobs,
    show_job,
    note,
    consent,
    open_points,
    return_thing,
    draft_family,
    learn_family,
    check_family,
    import_family,
    add_family,
    identify,
    find_boxes,
    read_boxes,
    read_faults,
    keep_faults,
    add_to_shelf,
    verify_shelf,
    tidy_shelf,
    show_release,
    plan,
    lay_card,
    audit_card,
    list_devices,
    gauge_card,
    check_ready,
    answer,
    accept,
    test_touch,
    read_supply,
    watch,
    mark,
    after,
    prove,
    mend,
    make_sheet,
    check_sheet,
    rehearse,
    same,  // none of its own: the one that was asked for, with these arguments; see with()
};

std::string_view name_of(Act act);  // "open-job"

// `name` is the argument's own ("job", "by"). A value that the person has to fill in stands as a word for it ("NAME").
struct Argument {
    std::string name, value;
    bool to_fill_in = false;

    bool operator==(const Argument&) const = default;
};

struct Proposal {
    Act act{};
    std::vector<Argument> arguments;

    bool operator==(const Proposal&) const = default;
};

// Makers that read as they are meant: propose(Act::consent, {job(number), given("what", "one-way"), wanted("by",
// "NAME")}).
Argument given(std::string name, std::string value);
Argument wanted(std::string name, std::string word);
Argument flag(std::string name);  // an argument that is there or not
inline Argument job(std::string number) {
    return given("job", std::move(number));
}
Proposal propose(Act act, std::vector<Argument> arguments = {});
// An argument of the act that was asked for, as a part of a text: Next{"give ", with(wanted("by", "NAME"))}; by its
// name alone as the place of an error: with(flag("by")).
Proposal with(Argument argument);

class Next {
public:
    using Part = std::variant<std::string, Proposal>;

    Next() = default;
    // From words alone, so that most places write a plain text.
    Next(const char* words) : Next(std::string(words)) {}
    Next(std::string words) {
        if (!words.empty()) parts_.emplace_back(std::move(words));
    }
    Next(Proposal act) { parts_.emplace_back(std::move(act)); }
    // Words and acts in turn: Next{"mark its end first: ", propose(Act::mark, …)}.
    Next(std::initializer_list<Part> parts) : parts_(parts) {}

    bool empty() const { return parts_.empty(); }
    const std::vector<Part>& parts() const { return parts_; }
    // The first act in it; nullptr when it is words and arguments alone.
    const Proposal* proposal() const;

    // One text, each act as `shown` shows it; without it by its name and what is given: "consent (one-way)", an
    // argument alone as "by NAME".
    std::string words(const std::function<std::string(const Proposal&)>& shown = {}) const;

    // Acts that name no job get this one: for rooms that compute on values and do not know its number.
    void name_job(const std::string& number);

    bool operator==(const Next&) const = default;

private:
    std::vector<Part> parts_;
};

// The same for a text that is no next step, and may name an argument: the place of an error.
using Words = Next;

}  // namespace fettle
