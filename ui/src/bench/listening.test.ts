/** A second of sound as a file: every sample as it came, and a head that says what follows. */
import { expect, test } from "vitest";
import { wav } from "./listening";

test("a WAV file holds the samples bit for bit", () => {
	const blocks = [new Float32Array([0, 0.5, -1]), new Float32Array([1e-7])];
	const file = wav(blocks, 4, 48_000);
	const view = new DataView(file);
	const text = (at: number, length: number) =>
		String.fromCharCode(...new Uint8Array(file, at, length));
	expect([text(0, 4), text(8, 8), text(36, 4)]).toEqual(["RIFF", "WAVEfmt ", "data"]);
	expect(view.getUint32(4, true)).toBe(file.byteLength - 8);
	// Format 3 is floating point (RFC 2361, appendix A).
	expect([view.getUint16(20, true), view.getUint16(22, true)]).toEqual([3, 1]);
	expect([view.getUint32(24, true), view.getUint32(28, true)]).toEqual([48_000, 192_000]);
	expect(view.getUint32(40, true)).toBe(16);
	const samples = [0, 1, 2, 3].map((index) => view.getFloat32(44 + 4 * index, true));
	expect(samples).toEqual([0, 0.5, -1, Math.fround(1e-7)]);
});
