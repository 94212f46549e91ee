/** A field's text is what the value says, digit for digit, and goes back as what was typed. */
import { expect, test } from "vitest";
import { kilohertzText, megahertzText, sent, written } from "./fields";

test.each([
	[158_600_000, "158.6"],
	[153_406_250, "153.40625"],
	[462_000_000, "462"],
	[999_999, "0.999999"],
	[1, "0.000001"],
])("%d Hz is %s MHz", (hz, text) => expect(megahertzText(hz)).toBe(text));

test("a list of losses is written and read alike", () => {
	const text = "150 MHz: 0.3; 470.5 MHz: 0.55";
	const points = [
		{ at_hz: 150_000_000, loss_db: 0.3 },
		{ at_hz: 470_500_000, loss_db: 0.55 },
	];
	expect(written("points", points)).toBe(text);
	expect(sent("points", text)).toEqual([
		{ at_hz: "150 MHz", loss_db: "0.3" },
		{ at_hz: "470.5 MHz", loss_db: "0.55" },
	]);
	expect(sent("points", " ")).toEqual([]);
});

test("a short-time rating keeps both its numbers", () => {
	expect(written("short", { power_w: 300, seconds: 30 })).toBe("300 W for 30 s");
	expect(sent("short", "300 W for 30 s")).toEqual({ power_w: "300", seconds: "30" });
	expect(sent("short", "much")).toBe("much");
});

test("a place is two numbers of degrees, north first", () => {
	const place = { latitude_degrees: 46.95, longitude_degrees: -7.45 };
	expect(written("place", place)).toBe("46.95; -7.45");
	expect(sent("place", "46,95; -7.45")).toEqual({
		latitude_degrees: "46,95",
		longitude_degrees: "-7.45",
	});
	expect(sent("place", "")).toBeNull();
	// What is no two numbers goes as it is: the node says what is wrong with it.
	expect(sent("place", "by the mill")).toBe("by the mill");
});

test("empty is none, and a frequency without its unit is megahertz", () => {
	expect(sent("text", "  ")).toBeNull();
	expect(sent("mhz", "158.6")).toBe("158.6 MHz");
	expect(sent("mhz", "158600 kHz")).toBe("158600 kHz");
	expect(sent("khz", "12.5")).toBe("12.5 kHz");
	expect(kilohertzText(12_500)).toBe("12.5");
	expect(sent("number", "0,25")).toBe("0,25");
});
