// The count that tells a second terminal that a watch lives. A file below a folder (of the home: `beats`), one for each
// job: it needs no port, works on a shared folder, and a watch that is stopped or killed simply no longer writes it.
// Beats are counts and no times, so clocks that differ do no harm.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace fettle::alarm {

class Heart {
public:
    // Goes on from the count that stands there. A folder or file that cannot be made is no error here: whoever listens
    // hears nothing, and is alarmed.
    Heart(const std::filesystem::path& folder, const std::string& job);
    ~Heart();
    Heart(const Heart&) = delete;
    Heart& operator=(const Heart&) = delete;
    void beat();  // one write in place; cheap, never waits
    void stop();  // the run has ended: nobody needs to be alarmed

private:
    int fd_ = -1;
    long count_ = 0;
};

struct HeartRead {
    std::optional<long> count;  // absent: nothing can be read, or it was stopped
    bool stopped = false;
};
HeartRead read_heart(const std::filesystem::path& folder, const std::string& job);

// Somebody who attaches hears nothing from the watch: alarmed after so long without a new beat, by the listener's own
// clock.
class Listener {
public:
    explicit Listener(double patience_s = 10) : patience_s_(patience_s) {}
    // beat: the count last read; nullopt: it cannot be read. now_s: any clock that never runs backwards. True: alarm.
    bool hear(std::optional<long> beat, double now_s);
    double silent_s(double now_s) const { return last_ ? now_s - heard_s_ : now_s - since_s_; }

private:
    double patience_s_;
    std::optional<long> last_;
    double heard_s_ = 0, since_s_ = 0;
    bool begun_ = false;
};

}  // namespace fettle::alarm
